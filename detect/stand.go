package detect

import "slices"

// Stand takes over partings that were told before this state began, as of a berth under
// another plan: they stand until what ends those that it told itself. What stands already,
// other conditions, and lines that the plan does not have, are ignored.
func (b *Berth) Stand(told []Change) {
	for _, c := range told {
		i, known := b.index[c.Line]
		if known {
			b.locate(i, &c)
		}
		switch {
		case b.activeIndex(c.Condition, c.Line, c.Group) >= 0:
			continue
		case c.Condition == LineParted && known:
			b.state.Lines[i].Parting = parting{Latch: latch{Up: true}, PartedAt: c.Time / tickLength}
		case c.Condition != Redistribution:
			continue
		}
		b.state.Raised = append(b.state.Raised, c)
	}
}

// Release ends, without a word, those partings of which said tells that a person has said
// that the line holds: it is watched again, with whatever its load pin shows.
func (b *Berth) Release(said func(Change) bool) {
	b.state.Raised = slices.DeleteFunc(b.state.Raised, func(c Change) bool {
		if c.Condition != LineParted && c.Condition != Redistribution || !said(c) {
			return false
		}
		if i, known := b.index[c.Line]; known {
			p := &b.state.Lines[i].Parting
			p.Latch, p.FirstTest, p.TestSince, p.FellAt = latch{}, 0, 0, 0
		}
		return true
	})
}
