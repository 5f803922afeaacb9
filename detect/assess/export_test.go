package assess

import (
	"slices"

	"hawser/detect/mooring"
)

// Fitted is a mooring whose lines have these unstretched lengths, metres from
// drum or bitts to hook, +Inf for one that is not made fast, found with the ship
// at this pose.
func Fitted(p *mooring.Plan, lengths []float64, at mooring.Pose) *Mooring {
	return fitted(p, mooring.NewRig(p), slices.Clone(lengths), at)
}
