package watch

import (
	"slices"

	"hawser/detect"
	"hawser/detect/mooring"
)

// parted reports whether an alarm is of a line that has parted, seen or not. That it is
// not found again from readings after it does not say that the line holds.
func parted(condition, _, _ string) bool {
	return condition == detect.LineParted.String() || condition == detect.Redistribution.String()
}

// partedOf is parted of what is still so under a plan that comes in the place of the
// unit's: of the same ship, with the same line, or one in the same group.
func (u *Unit) partedOf(next *mooring.Plan) func(condition, line, group string) bool {
	same := u.plan.Ship.Name == next.Ship.Name
	return func(condition, line, group string) bool {
		return same && parted(condition, line, group) && slices.ContainsFunc(next.Lines, func(l mooring.Line) bool {
			return l.Group.String() == group && (line == "" || l.ID == line)
		})
	}
}
