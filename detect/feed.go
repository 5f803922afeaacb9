package detect

import (
	"math"

	"hawser/detect/reading"
)

// Channels in the feed: those of the berth first, then three a line.
const (
	berthChannels = int(reading.UnderWatch-reading.WindSpeed) + 1
	lineChannels  = 3
)

const (
	maxSources = 64 // the longest unheard is forgotten
	// A source is gone after so many calls of others, about one batch of a ship, and so
	// much event time.
	goneCalls = 64
	goneAfter = int64(4 * reading.Lateness)
	// firstTime and lastTime, September 2001 and the year 2200, keep arithmetic
	// on times clear of overflow; what is outside counts as late.
	firstTime = int64(1e9) * second
	lastTime  = int64(7258118400) * second
	second    = int64(1e9)
)

// missing stands for a reading that is no number.
var missing = math.NaN()

// feed puts readings in the order of event time.
//
//	Push ─► ring per channel, sorted ─► take(t): those before t, in order
//	promises of the sources ─► watermark: nothing at or before it is awaited
//
// The watermark is the lowest of the sources' promises, but no more than
// reading.Lateness behind the newest promise: a source that has fallen silent holds up
// the others no longer than that, and not at all once it is gone. A source that never
// promises is taken to promise all that is over reading.Lateness behind its newest
// reading. The watermark never falls. A reading at or behind it when it arrives is late.
type feed struct {
	Sources   []source
	Heard     uint64 // counts calls, to know which source is the longest unheard
	Newest    int64  // newest promise
	Watermark int64
	Rings     []ring
}

type source struct {
	Name     string
	Promise  int64
	Last     int64 // time of its newest reading
	Promises bool  // it has promised itself
	Heard    uint64
}

func newFeed(lines int) feed {
	return feed{Watermark: firstTime, Rings: make([]ring, berthChannels+lines*lineChannels)}
}

// source finds a source, or adds it.
func (f *feed) source(name string) *source {
	f.Heard++
	oldest := 0
	for i := range f.Sources {
		s := &f.Sources[i]
		if s.Name == name {
			s.Heard = f.Heard
			return s
		}
		if s.Heard < f.Sources[oldest].Heard {
			oldest = i
		}
	}
	fresh := source{Name: name, Heard: f.Heard}
	if len(f.Sources) == maxSources {
		f.Sources[oldest] = fresh
		return &f.Sources[oldest]
	}
	f.Sources = append(f.Sources, fresh)
	return &f.Sources[len(f.Sources)-1]
}

// promise takes a source's promise and moves the watermark.
func (f *feed) promise(name string, until int64) {
	s := f.source(name)
	if until > 0 {
		s.Promises = true
	} else if !s.Promises {
		until = s.Last - reading.Lateness
	}
	s.Promise = max(s.Promise, until)
	f.Newest = max(f.Newest, s.Promise)
	lowest := f.Newest
	for i := range f.Sources {
		if s := &f.Sources[i]; !f.gone(s) {
			lowest = min(lowest, s.Promise)
		}
	}
	f.Watermark = max(f.Watermark, lowest, f.Newest-reading.Lateness)
}

// gone reports whether a source is not waited for: it is so far behind that all it may
// still send is late, and was not heard while many calls came from others.
func (f *feed) gone(s *source) bool {
	return s.Promise < f.Newest-goneAfter && f.Heard-s.Heard > goneCalls
}

// channel is the ring of a channel index, nil for -1.
func (f *feed) channel(i int) *ring {
	if i < 0 {
		return nil
	}
	return &f.Rings[i]
}

// first is the time of the earliest reading that waits; ok is false for none.
func (f *feed) first() (t int64, ok bool) {
	t = math.MaxInt64
	for i := range f.Rings {
		if r := &f.Rings[i]; r.Len > 0 {
			t, ok = min(t, r.at(0).Time), true
		}
	}
	return t, ok
}
