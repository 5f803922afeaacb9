package detect

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// shift is how far line i's load is from the one expected by the other lines with the
// offset that was first trusted, kN.
func (b *Berth) shift(i int) float64 {
	l := &b.state.Lines[i]
	f := &l.Fit
	expected := b.models[i].loadAt(f.Stretch+l.Zero.Offset-f.Offset, f.Load, f.Stretch, f.Stiffness)
	return f.Residual + f.Load - expected
}

// unseenRise is the working space of explainByRise, by line.
type unseenRise struct {
	gain      []float64 // of MBL a metre
	explained []float64 // of the shift, of MBL, its magnitude
	left      []float64 // of the shift, of MBL

	// by pin in which a rise shows, in order of the rise
	lines          []int
	rises, weights []float64 // m, of MBL a metre
}

func newUnseenRise(lines int) unseenRise {
	of := func() []float64 { return make([]float64, lines) }
	return unseenRise{gain: of(), explained: of(), left: of(), lines: make([]int, 0, lines), rises: of(), weights: of()}
}

// explainByRise sets how far each pin's shift is explained by a rise of the ship that the
// shifts of the other pins imply: tide and cargo where levels and drafts are not measured,
// or where the plan errs in their effect. The rise is their weighted median, a pin
// weighing as a rise shows in it, so that no one pin's fault moves it; and no more than a
// ship rises in the time. It may explain a shift, never make one.
func (b *Berth) explainByRise() {
	b.riseGains()
	r := &b.rise
	r.lines = r.lines[:0]
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		r.explained[i], r.left[i] = 0, l.Zero.Shift/b.plan.Lines[i].MBLkN
		if l.Fit.Known && math.Abs(r.gain[i]) > minRiseGain {
			r.lines = append(r.lines, i)
		}
	}
	if len(r.lines) <= minRisePins {
		return
	}
	r.sort()
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

// sort puts the pins in order of the rise that their shifts imply.
func (r *unseenRise) sort() {
	slices.SortFunc(r.lines, func(i, k int) int { return cmp.Compare(r.left[i]/r.gain[i], r.left[k]/r.gain[k]) })
	r.rises, r.weights = r.rises[:len(r.lines)], r.weights[:len(r.lines)]
	for n, i := range r.lines {
		r.rises[n], r.weights[n] = r.left[i]/r.gain[i], math.Abs(r.gain[i])
	}
}

// without is the weighted median of the rises but that of line i, m.
func (r *unseenRise) without(i int) float64 {
	if own := slices.Index(r.lines, i); own >= 0 {
		weight := r.weights[own]
		r.weights[own] = 0
		defer func() { r.weights[own] = weight }()
	}
	return stat.Quantile(0.5, stat.Empirical, r.rises, r.weights)
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
