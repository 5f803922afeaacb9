package assess

import (
	"cmp"
	"math"
	"slices"

	"hawser/detect/mooring"
)

// Loss is what follows when lines are lost.
type Loss struct {
	Lost []int
	// First is the ship at rest again with every other line holding, which is the
	// load that those lines and their brakes are asked to bear. Found is false
	// where there is no such rest.
	First State
	Found bool
	Worst int // the line with the largest share of its MBL in First, -1 if not Found
	// WorstLowKN and WorstHighKN are what Worst may carry for ropes stiffer or softer
	// than the plan has them, where an Answer asked; else 0.
	WorstLowKN, WorstHighKN float64
	// Renders are the lines whose brakes then give, Cascade those that part, one
	// after another.
	Renders, Cascade []int
	// Holds says that the ship comes to rest in the end, as Final has it.
	Holds bool
	Final State
}

// Lose is what follows when these lines are lost at once. Loads are those of the
// ship at rest; on her way there she swings past it, so the true peak is higher.
func (m *Mooring) Lose(c Conditions, lost ...int) Loss {
	return m.rest().lose(m.Force(c), c.start(), lost)
}

func (r *rest) lose(force mooring.Force, from mooring.Pose, lost []int) Loss {
	m := r.m
	out := Loss{Lost: slices.Clone(lost), Worst: -1}
	lengths := slices.Clone(m.lengths)
	for _, i := range lost {
		lengths[i] = math.Inf(1)
	}
	first, err := r.still(force, lengths, from)
	if err == nil {
		out.First, out.Found, out.Worst = first, true, m.Worst(&first)
		if m.allBelowGiving(&first) {
			out.Holds, out.Final = true, first
			return out
		}
		from = first.Pose
	}
	r.giveWay(&out, force, lengths, from)
	return out
}

// allBelowGiving says that no brake renders and no line parts.
func (m *Mooring) allBelowGiving(s *State) bool {
	for i, t := range s.TensionKN {
		if t >= m.bounds[i].render || t >= m.bounds[i].breaking {
			return false
		}
	}
	return true
}

// giveWay lets brakes render and lines part, the one furthest over its breaking
// load first, until the ship lies still or nothing holds her.
func (r *rest) giveWay(out *Loss, force mooring.Force, lengths []float64, from mooring.Pose) {
	for range len(lengths) + 1 {
		s, err := r.settle(force, lengths, from)
		if err != nil {
			return
		}
		parts, over := -1, 1.0
		for i, t := range s.TensionKN {
			if r.renders(&s, i) && !slices.Contains(out.Renders, i) {
				out.Renders = append(out.Renders, i)
			}
			if x := t / r.m.bounds[i].breaking; x >= over {
				parts, over = i, x
			}
		}
		if parts < 0 {
			out.Holds, out.Final = true, s
			return
		}
		out.Cascade, lengths[parts], from = append(out.Cascade, parts), math.Inf(1), s.Pose
	}
}

// LoseEach is the loss of each line that is made fast, by itself, the worst
// first: those after which nothing holds the ship, then the longer cascade, then
// the larger share of MBL.
func (m *Mooring) LoseEach(c Conditions) []Loss {
	r, force, from := m.rest(), m.Force(c), c.start()
	if s, err := r.still(force, m.lengths, from); err == nil {
		from = s.Pose
	}
	var all []Loss
	for i := range m.plan.Lines {
		if m.fast(i) {
			all = append(all, r.lose(force, from, []int{i}))
		}
	}
	slices.SortStableFunc(all, func(a, b Loss) int {
		return cmp.Or(
			-cmp.Compare(m.severity(&a), m.severity(&b)),
			-cmp.Compare(len(a.Cascade), len(b.Cascade)),
			-cmp.Compare(m.worstShare(&a), m.worstShare(&b)))
	})
	return all
}

func (m *Mooring) severity(l *Loss) int {
	switch {
	case !l.Found:
		return 2
	case !l.Holds:
		return 1
	}
	return 0
}

func (m *Mooring) worstShare(l *Loss) float64 {
	if !l.Found {
		return math.Inf(1)
	}
	return m.Share(&l.First, l.Worst)
}
