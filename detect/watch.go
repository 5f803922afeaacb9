package detect

import (
	"math"

	"hawser/detect/reading"
)

// The operating state of the berth: made fast and under watch, or arriving or leaving,
// with lines put out and let go on purpose. The berth's own channel tells it, but may be
// missing or wrong, so brakes and loads tell it as well.
//
// A line that has carried next to nothing since its brake was last off is let go, or not
// made fast yet. Where two lines with a load pin are while the crew is at work, or a quarter
// of them are, she arrives or leaves, whatever the channel says: until 90 s after a brake was
// last off (one that stays off for 10 min is left so), or, with a quarter of them let go,
// until an hour after. Not judged then are slack and uneven shares, pins' zeros, partings
// that no pin shows, slips that only loads tell, and partings of a line of whose brake
// nothing is known. A line over its limit, one that parts or runs out with its brake set,
// and a pin that is silent are told.
//
// A watch that is stood down counts as kept once for an hour no line was worked and half
// of them carried: it was forgotten, or the channel is stuck. Source: common practice, no
// source.
const (
	atWorkTicks = 90 * int64(ticksPerSecond)      // for which a crew that worked a line is at work
	workedTicks = 60 * 60 * int64(ticksPerSecond) // for which lines stay let go, or the watch stood down
	leftOff     = 10 * 60 * second                // after which a brake that is off is left so, as on a winch that keeps a tension
	letGoLeast  = 2
)

// watch is the berth's operating state.
type watch struct {
	StoodDown bool  // by the last reading of the berth's own channel
	Off       bool  // stood down, and not forgotten
	OffTicks  int32 // ticks of that, up to standDownTicks
	Working   bool  // lines are put out or let go, by their brakes and loads
	HandledAt int64 // tick at which a brake was last off, and not left so
	WorkedAt  int64 // the same, or at which the watch was stood down or a line came to carry or no longer did
}

// handling is how a line was last worked.
type handling struct {
	LetGoAt int64 // tick since which it is let go, 0 where it is not
	Carries bool  // by its minute's mean
}

// Operating is how the detectors take the ship to lie.
type Operating uint8

const (
	MadeFast   Operating = iota // and under watch
	StoodDown                   // arriving or leaving, as she says: nothing is judged
	LinesMoved                  // arriving or leaving, by her brakes and loads: little is judged
)

// Operating is the operating state; MadeFast before the first reading.
func (b *Berth) Operating() Operating {
	switch w := &b.state.Watch; {
	case w.Off:
		return StoodDown
	case w.Working:
		return LinesMoved
	}
	return MadeFast
}

// UnderWatch reports whether the ship is made fast and watched, by the last reading of
// the berth's own channel unless that has said otherwise for an hour of a ship evidently
// made fast; true before the first.
func (b *Berth) UnderWatch() bool { return b.Operating() != StoodDown }

// operatingState is the second's step of the berth.
func (b *Berth) operatingState(now moment) {
	w := &b.state.Watch
	pins, letGo, carrying := 0, 0, 0
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if l.tended(now) && now.Time-l.Drum.TakenOffAt < leftOff {
			w.HandledAt, w.WorkedAt = now.Tick, now.Tick
		}
		if !b.plan.Lines[i].Instrumented || l.Health.Fault != healthy || !l.Pin.fresh(now) {
			continue
		}
		pins++
		if b.changedHands(now, i) {
			w.WorkedAt = now.Tick
		}
		if l.Handling.Carries {
			carrying++
		}
		if at := l.Handling.LetGoAt; at != 0 && now.Tick-at < workedTicks {
			letGo++
		}
	}
	w.Working = letGo >= letGoLeast && (b.handled(now) || 4*letGo >= pins) || w.Working && b.handled(now)
	w.Off = w.StoodDown && (now.Tick-w.WorkedAt < workedTicks || 2*carrying < pins)
}

// changedHands takes line i's load into how it was last worked, and reports whether it came
// to carry or no longer does.
func (b *Berth) changedHands(now moment, i int) bool {
	l, mbl := &b.state.Lines[i], b.plan.Lines[i].MBLkN
	h, slack := &l.Handling, float64(b.plan.Limits.SlackFraction)*mbl
	switch {
	case l.Pin.Last >= partMinLoad*mbl:
		h.LetGoAt = 0
	case h.LetGoAt == 0 && l.tended(now) && l.Pin.Last < slack:
		h.LetGoAt = now.Tick
	}
	did := h.Carries
	switch {
	case !l.MinuteMeanOK:
	case l.MinuteMean >= partMinLoad*mbl:
		h.Carries = true
	case l.MinuteMean < slack:
		h.Carries = false
	}
	return h.Carries != did
}

// handled reports whether the crew is at work on lines, by their brakes.
func (b *Berth) handled(now moment) bool { return b.handledWithin(now, atWorkTicks) }

// handledWithin reports whether a brake was off within these ticks.
func (b *Berth) handledWithin(now moment, ticks int64) bool {
	at := b.state.Watch.HandledAt
	return at != 0 && now.Tick-at < ticks
}

// tended reports whether line i is being worked by hand: its brake is off, or was a moment
// ago, or lines are put out or let go and of its brake nothing is known.
func (b *Berth) tended(now moment, i int) bool {
	l := &b.state.Lines[i]
	return l.tended(now) || b.state.Watch.Working && !l.Drum.BrakeKnown
}

// berthReading takes a reading of a channel of the berth.
func (b *Berth) berthReading(c int, s *sample) {
	h, w := &b.state.Motion.Heave, &b.state.Wind
	switch reading.WindSpeed + reading.Kind(c) {
	case reading.UnderWatch:
		if !math.IsNaN(s.Value) {
			if w, down := &b.state.Watch, s.Value < 0.5; down != w.StoodDown {
				w.StoodDown, w.Off, w.WorkedAt = down, down, b.state.Tick
			}
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
