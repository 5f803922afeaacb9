package detect

import (
	"slices"

	"hawser/detect/mooring"
)

// raise reports a condition of line i (or, where i < 0, of a group) and keeps it among
// the raised. c holds its condition, onset, figures and detail. A condition that is
// raised already is not raised again.
func (b *Berth) raise(now moment, i int, c Change) {
	c.Time, c.Raised = now.Time, true
	b.locate(i, &c)
	if b.activeIndex(c.Condition, c.Line, c.Group) >= 0 {
		return
	}
	b.state.Raised = append(b.state.Raised, c)
	b.out = append(b.out, c)
}

// clear reports that a raised condition is over; a condition that is not raised is
// ignored.
func (b *Berth) clear(now moment, i int, c Change) {
	b.locate(i, &c)
	k := b.activeIndex(c.Condition, c.Line, c.Group)
	if k < 0 {
		return
	}
	c.Time, c.Raised, c.Onset = now.Time, false, b.state.Raised[k].Onset
	b.state.Raised = slices.Delete(b.state.Raised, k, k+1)
	b.out = append(b.out, c)
}

// locate sets the line and group of a change of line i.
func (b *Berth) locate(i int, c *Change) {
	if i >= 0 {
		c.Line, c.Group = b.plan.Lines[i].ID, b.plan.Lines[i].Group
	}
}

// activeIndex is the index of a condition among the raised, or -1.
func (b *Berth) activeIndex(c Condition, line string, g mooring.Group) int {
	for k := range b.state.Raised {
		r := &b.state.Raised[k]
		if r.Condition == c && r.Line == line && r.Group == g {
			return k
		}
	}
	return -1
}
