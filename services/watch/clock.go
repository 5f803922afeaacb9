package watch

import (
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
)

// A source whose clock is set back sends readings dated before what was watched
// already, and nothing of them is. One that catches up, as after an outage, sends
// such readings too, but faster than time passes, so that they grow younger. The
// figures are common practice, no source.
const (
	clockBackAfter = 8 * time.Second // nothing but late readings, as old as at first
	catchesUp      = 2 * time.Second // younger than at first by more than this
	mostLate       = 64              // sources that are late at once
)

// ClockBack is the newest word of a source whose readings are all dated before what
// was watched already.
type ClockBack struct {
	Source string
	By     time.Duration // age of its newest reading as it came in
	At     time.Time     // by this machine's clock
}

// late is a source from which nothing but late readings has come for some time.
type late struct {
	since time.Time     // the first of them came in
	age   time.Duration // of its newest reading then
}

// dated notes how the readings of an entry are dated; unused is how many of them
// came too late for the detectors.
func (b *berthWatch) dated(e *batch.Entry, block *reading.Block, unused uint64) {
	samples := block.Samples()
	if samples == 0 {
		return
	}
	if unused < uint64(samples) {
		delete(b.late, e.Source)
		return
	}
	age := e.Stored.Sub(newest(block))
	first, known := b.late[e.Source]
	switch {
	case !known || first.age-age > catchesUp:
		if b.late == nil || len(b.late) == mostLate {
			b.late = map[string]late{}
		}
		b.late[e.Source] = late{e.Stored, age}
	case e.Stored.Sub(first.since) >= clockBackAfter:
		b.states.change(b.berth, func(s *State) { s.ClockBack = ClockBack{e.Source, age, time.Now()} })
	}
}

// newest is the time of a block's newest reading; it has at least one.
func newest(b *reading.Block) time.Time {
	last := int64(0)
	for i := range b.Series {
		if t := b.Series[i].Time; len(t) > 0 {
			last = max(last, t[len(t)-1])
		}
	}
	return time.Unix(0, last)
}
