package detect

// All pins at once: a gateway or a controller that goes on sending the last values it had
// shows a mooring on which nothing happens. No pin moves beside another then, so that none
// is stuck by what the others read (see stuck). They are at a standstill where
//
//   - not one of them has read anything new for a minute, and for ten times as long as
//     they had together within the hour: as a calm comes those times grow by and by;
//   - half of them or more, three at least, last did so within the same five seconds: in a
//     calm they come to a stand one after the other, by how near each is to its next digit;
//   - and one in four of the readings of each of those was new until then: in a calm those
//     grow few before they end;
//   - and they had been seen to move for five minutes.
//
// It lasts until one moves. In a flat calm, where pins seldom read anything new, nothing
// can be told. Source: common practice, no source.
const (
	standstillTimes    = 10
	standstillTogether = 5 * second
	standstillHistory  = 300 * second
	standstillPins     = 3
	standstillReadings = 20 // of each pin, all the same
	standstillNewEvery = 4  // readings, before
)

// standstill is how long the pins have read nothing new together, Unix nanoseconds and
// nanoseconds.
type standstill struct {
	First, Since int64    // the first and the last reading of any that was new; 0 for none
	Stood        int64    // for how long readings have come since that were not
	Hour         int64    // since the epoch
	Longest      [2]int64 // time stood that ended, in this hour and the one before
	Is           bool
}

// threshold is how long the pins may stand, ns.
func (s *standstill) threshold() int64 {
	return max(stuckFor, standstillTimes*max(s.Longest[0], s.Longest[1]))
}

// standsStill is the second's step of all pins together.
func (b *Berth) standsStill(now moment) {
	s := &b.state.Standstill
	if hour := now.Time / (3600 * second); hour != s.Hour {
		before := s.Longest[0]
		if hour != s.Hour+1 {
			before = 0
		}
		s.Hour, s.Longest = hour, [2]int64{0, before}
	}
	moved, newest := s.Since, s.Since
	for i := range b.state.Lines {
		p := &b.state.Lines[i].Pin
		moved, newest = max(moved, p.MovedAt), max(newest, p.LastAt)
	}
	if moved > s.Since {
		if !s.Is {
			s.Longest[0] = max(s.Longest[0], s.Stood)
		}
		if s.First == 0 {
			s.First = moved
		}
		s.Since, s.Is = moved, false
	}
	s.Stood = newest - s.Since
	if s.Is || s.Stood < s.threshold() || s.Since-s.First < standstillHistory {
		return
	}
	together, stand := 0, 0
	for i := range b.state.Lines {
		if !b.standsWithAll(now, i) {
			continue
		}
		stand++
		if p := &b.state.Lines[i].Pin; p.MovedAt > s.Since-standstillTogether && p.NewEvery <= standstillNewEvery {
			together++
		}
	}
	s.Is = together >= max(standstillPins, (stand+1)/2)
}

// standsWithAll reports whether line i's pin sends, and nothing new.
func (b *Berth) standsWithAll(now moment, i int) bool {
	p := &b.state.Lines[i].Pin
	return p.fresh(now) && p.Same >= standstillReadings
}
