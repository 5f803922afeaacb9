package watch

import (
	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// Unit is the one road to the detectors: one berth's blocks in their order go
// in, changes come out. Live, replay and restart differ only in where the
// blocks come from and where the changes go. It is not safe for concurrent use.
type Unit struct {
	plan    *mooring.Plan
	berth   *detect.Berth
	changes []detect.Change
}

// NewUnit starts a berth from nothing.
func NewUnit(plan *mooring.Plan) *Unit { return &Unit{plan: plan, berth: detect.New(plan)} }

// restoreUnit starts a berth where a snapshot left it.
func restoreUnit(plan *mooring.Plan, snapshot []byte) (*Unit, error) {
	b, err := detect.Restore(plan, snapshot)
	if err != nil {
		return nil, err
	}
	return &Unit{plan: plan, berth: b}, nil
}

// Take puts one block of a source through the detectors. The changes are valid
// until the next call.
func (u *Unit) Take(source string, b *reading.Block) []detect.Change {
	for i := range b.Series {
		if s := &b.Series[i]; s.Len() > 0 {
			u.berth.Push(source, s)
		}
	}
	u.changes = u.berth.Advance(source, b.CompleteUntil, u.changes[:0])
	return u.changes
}

// Stand takes over partings that stand; see detect.Berth.
func (u *Unit) Stand(told []detect.Change) { u.berth.Stand(told) }

// Release ends partings on a person's word; see detect.Berth.
func (u *Unit) Release(said func(detect.Change) bool) { u.berth.Release(said) }

// Observe has f called at the end of every tick with what the detectors saw; it
// changes nothing of what they tell.
func (u *Unit) Observe(f func(*detect.Observation)) { u.berth.Observe(f) }

// Snapshot is the unit's state between two blocks.
func (u *Unit) Snapshot() ([]byte, error) { return u.berth.Snapshot() }

// Oddities counts the readings the detectors did not use.
func (u *Unit) Oddities() detect.Oddities { return u.berth.Oddities() }

// UnderWatch is whether the mooring is watched; see detect.Berth.
func (u *Unit) UnderWatch() bool { return u.berth.UnderWatch() }

// Operating is how the ship lies; see detect.Berth.
func (u *Unit) Operating() detect.Operating { return u.berth.Operating() }

// LeastLosses is from which load a parting that no pin shows is told; see detect.Berth.
func (u *Unit) LeastLosses(dst []float64) []float64 { return u.berth.LeastLosses(dst) }

// Active is what is raised and not cleared.
func (u *Unit) Active() []detect.Change { return u.berth.Active() }
