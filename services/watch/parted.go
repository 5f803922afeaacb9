package watch

import (
	"slices"

	"hawser/detect"
	"hawser/detect/mooring"
)

// parted reports whether a change is of a line that has parted, seen or not. That it is
// not found again from readings after it does not say that the line holds.
func parted(c detect.Change) bool {
	return c.Condition == detect.LineParted || c.Condition == detect.Redistribution
}

// partedOf is parted of what is still so under a plan that comes in the place of the
// unit's: of the same ship, with the same line, or one in the same group.
func (u *Unit) partedOf(next *mooring.Plan) func(detect.Change) bool {
	same := u.plan.Ship.Name == next.Ship.Name
	return func(c detect.Change) bool {
		return same && parted(c) && slices.ContainsFunc(next.Lines, func(l mooring.Line) bool {
			return l.Group == c.Group && (c.Line == "" || l.ID == c.Line)
		})
	}
}
