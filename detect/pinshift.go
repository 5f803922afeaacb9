package detect

import (
	"cmp"
	"math"
	"slices"
)

// shift is how far line i's load is from the one expected by the other lines with the
// offset that was first trusted, kN.
func (b *Berth) shift(i int) float64 {
	l := &b.state.Lines[i]
	f := &l.Fit
	expected := b.models[i].loadAt(f.Stretch+l.Zero.Offset-f.Offset, f.Load, f.Stretch, f.Stiffness)
	return f.Residual + f.Load - expected
}

// unseenRise is the working space of explainByRise, by line but for pins.
type unseenRise struct {
	gain      []float64 // of MBL a metre
	explained []float64 // of the shift, of MBL, its magnitude
	left      []float64 // of the shift, of MBL
	pins      []risePin // in which a rise shows, by the rise
}

type risePin struct {
	line         int
	rise, weight float64 // m, of MBL a metre
}

func newUnseenRise(lines int) unseenRise {
	return unseenRise{make([]float64, lines), make([]float64, lines), make([]float64, lines), make([]risePin, 0, lines)}
}

// explainByRise sets how far each pin's shift is explained by a rise of the ship that the
// shifts of the other pins imply: tide and cargo where levels and drafts are not measured,
// or where the plan errs in their effect. The rise is their weighted median, a pin
// weighing as a rise shows in it, so that no one pin's fault moves it; and no more than a
// ship rises in the time. It may explain a shift, never make one.
func (b *Berth) explainByRise() {
	b.riseGains()
	r := &b.rise
	r.pins = r.pins[:0]
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		r.explained[i], r.left[i] = 0, l.Zero.Shift/b.plan.Lines[i].MBLkN
		if weight := math.Abs(r.gain[i]); l.Fit.Known && weight > minRiseGain {
			r.pins = append(r.pins, risePin{i, r.left[i] / r.gain[i], weight})
		}
	}
	if len(r.pins) <= minRisePins {
		return
	}
	slices.SortFunc(r.pins, func(a, b risePin) int { return cmp.Compare(a.rise, b.rise) })
	for i := range b.state.Lines {
		most := mostRise * b.state.Lines[i].Fit.Age
		by := min(max(r.without(i), -most), most) * r.gain[i]
		r.explained[i] = math.Abs(by)
		if by*r.left[i] > 0 {
			r.left[i] -= math.Copysign(min(math.Abs(by), math.Abs(r.left[i])), by)
		}
	}
}

// riseGains sets what a metre of the ship's rise that nobody tells adds to every pin's
// shift: what it stretches the line by, less what the fit takes for a movement.
func (b *Berth) riseGains() {
	var taken [modes]float64 // by the fit, metres a metre
	for i := range b.state.Lines {
		l, run := &b.state.Lines[i], b.jacobian(i)
		w := l.Fit.Weight * l.Stiffness.Ratio * b.stretchPerRise(i)
		for p := range modes {
			taken[p] += w * run[p]
		}
	}
	taken = mulVec(&b.state.Motion.Cov, &taken)
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		stretch := l.Stiffness.Ratio * (b.stretchPerRise(i) - b.stretchFrom(i, &taken))
		b.rise.gain[i] = l.Fit.Stiffness * stretch / b.plan.Lines[i].MBLkN
	}
}

// without is the weighted median of the pins' rises but that of line i.
func (r *unseenRise) without(i int) float64 {
	left := 0.0
	for _, p := range r.pins {
		if p.line != i {
			left += p.weight / 2
		}
	}
	for _, p := range r.pins {
		if p.line != i {
			if left -= p.weight; left <= 0 {
				return p.rise
			}
		}
	}
	return 0
}

// ownShift is the magnitude of line i's shift, of MBL, or its difference from the
// median shift of the rest of its group where that is less: lines that lead alike err
// alike, and pins do not fail by the group.
func (b *Berth) ownShift(i int) float64 {
	var group [64]float64
	n := 0
	for k := range b.state.Lines {
		if k != i && n < len(group) && b.plan.Lines[k].Group == b.plan.Lines[i].Group && b.state.Lines[k].Fit.Known {
			group[n] = b.rise.left[k]
			n++
		}
	}
	left := b.rise.left[i]
	return min(math.Abs(left), math.Abs(left-median(group[:n])))
}

// typicalShift is the median magnitude of all pins' shifts, of MBL, and that of
// the plan's errors.
func (b *Berth) typicalShift() (shift, planError float64) {
	var shifts, errors [64]float64
	n := 0
	for i := range b.state.Lines {
		if l := &b.state.Lines[i]; l.Fit.Known && n < len(shifts) {
			shifts[n] = math.Abs(b.rise.left[i])
			errors[n] = l.Zero.PlanError
			n++
		}
	}
	return median(shifts[:n]), median(errors[:n])
}
