package detect

import (
	"math"

	"hawser/detect/reading"
)

// watch is the state of the berth's own channel: whether the ship is under watch.
type watch struct {
	Off      bool  // the ship is arriving or leaving: lines are tended on purpose
	OffTicks int32 // ticks of that, up to standDownTicks
}

// UnderWatch reports whether the ship is made fast and watched, by the last reading of
// the berth's own channel; true before the first.
func (b *Berth) UnderWatch() bool { return !b.state.Watch.Off }

// berthReading takes a reading of a channel of the berth.
func (b *Berth) berthReading(c int, s *sample) {
	h, w := &b.state.Motion.Heave, &b.state.Wind
	switch reading.WindSpeed + reading.Kind(c) {
	case reading.UnderWatch:
		if !math.IsNaN(s.Value) {
			b.state.Watch.Off = s.Value < 0.5
		}
	case reading.WindSpeed:
		if !math.IsNaN(s.Value) && math.Abs(s.Value) < 100 { // m/s
			w.Speed, w.SpeedAt = s.Value, s.Time
		}
	case reading.WindDirection:
		if !math.IsNaN(s.Value) && math.Abs(s.Value) < 1000 {
			w.Direction = s.Value
		}
	case reading.WaterLevel:
		h.Water.add(s)
	case reading.DraftFwd:
		h.Fwd.add(s)
	case reading.DraftAft:
		h.Aft.add(s)
	}
}
