package detect

// Event time is cut into ticks of 100 ms from the Unix epoch. A tick runs once the
// watermark has passed its end: what the berth measured in it, then line by line in the
// plan's order what the line measured, then the detectors. Nothing else changes the
// state, so it does not matter how readings were cut into blocks.
//
// Without any reading, ticks go on for maxIdleTicks, so that every gap is raised, and
// then stop until the next reading, whose tick runs next: a clock that steps forward
// costs no more than maxIdleTicks.
const (
	tickLength     = second / 10
	ticksPerSecond = int32(second / tickLength)
	maxIdleTicks   = 15 * ticksPerSecond
)

// run runs every tick that the watermark has passed.
func (b *Berth) run() {
	st := &b.state
	for {
		if st.Tick == 0 || st.Idle >= maxIdleTicks {
			t, ok := st.Feed.first()
			if !ok || t > st.Feed.Watermark {
				return
			}
			if next := t / tickLength; next > st.Tick {
				st.Tick = next
				b.restart()
			}
			st.Idle = 0
		}
		end := (st.Tick + 1) * tickLength
		if end-1 > st.Feed.Watermark {
			return
		}
		st.Idle++
		if b.take(end) {
			st.Idle = 0
		}
		b.detect(end)
		st.Tick++
	}
}

// restart clears what is counted over time, after a time without any reading.
func (b *Berth) restart() {
	for i := range b.state.Lines {
		b.state.Lines[i].restart()
	}
	b.state.Motion.Ticks = 0
}

// take hands the readings before end to the sensors they belong to and reports whether
// there were any.
func (b *Berth) take(end int64) bool {
	st := &b.state
	any := false
	for c := range st.Feed.Rings {
		r := &st.Feed.Rings[c]
		n := 0
		for ; n < r.Len; n++ {
			s := r.at(n)
			if s.Time >= end {
				break
			}
			b.reading(c, s)
		}
		if n > 0 {
			r.drop(n)
			any = true
		}
	}
	return any
}

// reading hands one reading to its sensor.
func (b *Berth) reading(c int, s *sample) {
	if c < berthChannels {
		b.berthReading(c, s)
		return
	}
	c -= berthChannels
	l := &b.state.Lines[c/lineChannels]
	switch c % lineChannels {
	case 0:
		l.Pin.reading(s)
	case 1:
		l.Drum.payoutReading(s)
	case 2:
		l.Drum.brakeReading(s)
	}
}

// detect runs the detectors for the tick that ends at end, all lines in the
// plan's order.
func (b *Berth) detect(end int64) {
	now := moment{Time: end, Tick: b.state.Tick}
	now.Second = (now.Tick+1)%int64(ticksPerSecond) == 0
	for i := range b.state.Lines {
		b.state.Lines[i].Pin.tick(now)
	}
	if b.state.First == 0 {
		b.state.First = end - tickLength
	}
	if now.Second {
		b.operatingState(now)
	}
	b.standDown(now)
	b.fitMotion(now)
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		l.record(now)
		l.trackExpected()
		b.recordRange(now, i)
	}
	b.predictorStep(now)
	if now.Second {
		b.updateStiffnessRatios(now)
		b.zeroShifts(now)
	}
	b.sensorFaults(now)
	b.partings(now)
	b.redistribution(now)
	b.overLimit(now)
	b.brakeSlip(now)
	b.jerks(now)
	b.snapLoad(now)
	if now.Second {
		b.loadSlips(now)
		b.approaching(now)
		b.imbalance(now)
		b.slackLine(now)
	}
	b.notifyObserver(now)
}

// moment is the end of the tick that runs.
type moment struct {
	Time   int64 // Unix nanoseconds
	Tick   int64
	Second bool // a whole second of event time ends here
}
