package detect

import "math"

// shift is how far line i's load is from the one expected by the other lines with the
// offset that was first trusted, kN.
func (b *Berth) shift(i int) float64 {
	l := &b.state.Lines[i]
	f := &l.Fit
	expected := b.models[i].loadAt(f.Stretch+l.Zero.Offset-f.Offset, f.Load, f.Stretch, f.Stiffness)
	return f.Residual + f.Load - expected
}

// impliedRise is the ship's rise in metres that the shifts of all pins imply: tide and
// cargo where levels and drafts are not measured, or where the plan errs in their
// effect. It is the median over the pins, so that one pin's fault does not move it.
func (b *Berth) impliedRise() float64 {
	var rises [64]float64
	n := 0
	for i := range b.state.Lines {
		l, perRise := &b.state.Lines[i], b.loadPerRise(i)
		if l.Fit.Known && n < len(rises) && math.Abs(perRise) > minRiseGain*b.plan.Lines[i].MBLkN {
			rises[n] = l.Zero.Shift / perRise
			n++
		}
	}
	if n < minRisePins {
		return 0
	}
	return median(rises[:n])
}

// ownShift is the magnitude of line i's shift, of MBL, or its difference from the
// median shift of the rest of its group where that is less: lines that lead alike err
// alike, and pins do not fail by the group.
func (b *Berth) ownShift(i int, rise float64) float64 {
	shift := func(k int) float64 {
		return (b.state.Lines[k].Zero.Shift - rise*b.loadPerRise(k)) / b.plan.Lines[k].MBLkN
	}
	var group [64]float64
	n := 0
	for k := range b.state.Lines {
		if k != i && n < len(group) && b.plan.Lines[k].Group == b.plan.Lines[i].Group && b.state.Lines[k].Fit.Known {
			group[n] = shift(k)
			n++
		}
	}
	return min(math.Abs(shift(i)), math.Abs(shift(i)-median(group[:n])))
}

// typicalShift is the median magnitude of all pins' shifts, of MBL, and that of
// the plan's errors.
func (b *Berth) typicalShift(rise float64) (shift, planError float64) {
	var shifts, errors [64]float64
	n := 0
	for i := range b.state.Lines {
		if l := &b.state.Lines[i]; l.Fit.Known && n < len(shifts) {
			shifts[n] = math.Abs(l.Zero.Shift-rise*b.loadPerRise(i)) / b.plan.Lines[i].MBLkN
			errors[n] = l.Zero.PlanError
			n++
		}
	}
	return median(shifts[:n]), median(errors[:n])
}
