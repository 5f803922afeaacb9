package assess

import (
	"math"
	"slices"

	"hawser/detect/mooring"
)

// Doubt is how far the plan's figures may be out: common practice, no source.
// Rope in use is stiffer or softer than catalogues say by about a third, and a
// pretension that nobody measured by as much.
const (
	stiffnessDoubt  = 0.30
	pretensionDoubt = 0.30
)

// Spread is the least and most each line may carry, for all that is not known.
type Spread struct {
	LowKN, HighKN []float64 // by line
}

// Spread solves the ship at rest again with all lines stiffer and softer, each
// line alone stiffer and softer, and all tighter and slacker unless their loads
// were measured; a line whose own was not may carry that much more or less. Cases
// without rest are left out. The error is that of the ship at rest with the plan's
// figures.
func (m *Mooring) Spread(c Conditions, measured bool) (Spread, error) {
	s, err := m.Steady(c)
	if err != nil {
		return Spread{}, err
	}
	return m.spread(c, &s, measured), nil
}

func (m *Mooring) spread(c Conditions, s *State, measured bool) Spread {
	out := Spread{slices.Clone(s.TensionKN), slices.Clone(s.TensionKN)}
	note := func(v *Mooring) {
		got, err := v.rest().still(v.Force(c), v.lengths, s.Pose)
		if err != nil {
			return
		}
		for i, t := range got.TensionKN {
			out.LowKN[i], out.HighKN[i] = min(out.LowKN[i], t), max(out.HighKN[i], t)
		}
	}
	set := m.setLoads()
	for _, by := range []float64{1 - stiffnessDoubt, 1 + stiffnessDoubt} {
		note(m.varied(set, func(int) float64 { return by }))
		for one := range m.plan.Lines {
			note(m.oneVaried(set, one, by))
		}
	}
	if !measured {
		for _, by := range []float64{1 - pretensionDoubt, 1 + pretensionDoubt} {
			scaled := make([]float64, len(set))
			for i := range set {
				scaled[i] = by * set[i]
			}
			note(m.varied(scaled, func(int) float64 { return 1 }))
		}
	}
	for i, t := range s.TensionKN {
		out.LowKN[i], out.HighKN[i] = m.doubted(i, t, out.LowKN[i], out.HighKN[i])
	}
	return out
}

// doubted widens the least and most of a line among measured ones whose own load, t
// now, is an estimate.
func (m *Mooring) doubted(i int, t, low, high float64) (float64, float64) {
	if m.assumed == nil || !m.assumed[i] {
		return low, high
	}
	return min(low, (1-pretensionDoubt)*t), max(high, (1+pretensionDoubt)*t)
}

// setLoads is what each line carried when the lengths were found.
func (m *Mooring) setLoads() []float64 {
	loads := make([]float64, len(m.lengths))
	m.rig.LineForces(m.setAt, m.lengths, loads)
	return loads
}

// varied is the mooring with lines so many times as stiff, each still carrying
// its load where the lengths were found. A law goes with the breaking load, so a line that
// is as much stronger is as much stiffer.
func (m *Mooring) varied(set []float64, stiffer func(i int) float64) *Mooring {
	p := *m.plan
	p.Lines = slices.Clone(p.Lines)
	for i := range p.Lines {
		l := &p.Lines[i]
		by := stiffer(i)
		l.MBLkN *= by
		if l.Tail != nil {
			tail := *l.Tail
			tail.MBLkN *= by
			l.Tail = &tail
		}
	}
	v := &Mooring{plan: &p, rig: mooring.NewRig(&p), lengths: slices.Clone(m.lengths), setAt: m.setAt}
	for i, t := range set {
		if m.fast(i) && t > 0 {
			v.lengths[i] = v.rig.UnstretchedM(i, t, m.setAt)
		}
	}
	return v
}

// spreadLosses finds the least and most that the worst line of each loss may carry,
// with all ropes and that line's alone stiffer and softer.
func (m *Mooring) spreadLosses(c Conditions, losses []Loss) {
	set := m.setLoads()
	all := [2]*Mooring{
		m.varied(set, func(int) float64 { return 1 - stiffnessDoubt }),
		m.varied(set, func(int) float64 { return 1 + stiffnessDoubt }),
	}
	for k := range losses {
		l := &losses[k]
		if !l.Found {
			continue
		}
		l.WorstLowKN = l.First.TensionKN[l.Worst]
		l.WorstHighKN = l.WorstLowKN
		for _, v := range []*Mooring{all[0], all[1], m.oneVaried(set, l.Worst, 1-stiffnessDoubt), m.oneVaried(set, l.Worst, 1+stiffnessDoubt)} {
			lengths := slices.Clone(v.lengths)
			for _, i := range l.Lost {
				lengths[i] = math.Inf(1)
			}
			if s, err := v.rest().still(v.Force(c), lengths, l.First.Pose); err == nil {
				l.WorstLowKN, l.WorstHighKN = min(l.WorstLowKN, s.TensionKN[l.Worst]), max(l.WorstHighKN, s.TensionKN[l.Worst])
			}
		}
		l.WorstLowKN, l.WorstHighKN = m.doubted(l.Worst, l.First.TensionKN[l.Worst], l.WorstLowKN, l.WorstHighKN)
	}
}

// oneVaried is the mooring with one line so many times as stiff.
func (m *Mooring) oneVaried(set []float64, one int, by float64) *Mooring {
	return m.varied(set, func(i int) float64 {
		if i == one {
			return by
		}
		return 1
	})
}
