package detect

import (
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// Berth watches one ship at one berth: readings in, changes out, in the order of event
// time. It is not safe for concurrent use. All that it has learnt is in state, which a
// snapshot writes down; what follows from the plan alone is computed by New.
type Berth struct {
	plan         *mooring.Plan
	index        map[string]int // line id to index in the plan
	models       []lineModel
	state        state
	out          []Change               // of the present Advance
	levers       [centres]float64       // of the centres from the face, of yawArm
	errorChols   [centres]cholesky      // of the newest step, by centre
	stepResponse [responseSteps]float64 // of a tracker
	fenders      [shipEnds]fenderEnd
	contactWork  contactWork // of the present search
	rise         unseenRise  // of the present second

	observe     func(*Observation) // nil without an observer
	observation *Observation
}

// state is everything that a berth has learnt from readings. Fields are exported for
// the snapshot's encoder only.
type state struct {
	Feed        feed
	Tick        int64 // next tick to run, counted from the Unix epoch; 0 before the first reading
	Idle        int32 // ticks since the last that held a reading
	First       int64 // time of the first tick, Unix nanoseconds
	Watch       watch
	Standstill  standstill
	Wind        wind
	DisturbedAt int64 // tick of the last parting or slip, 0 for none
	PartedAt    int64 // tick of the last parting, seen or not, 0 for none
	Motion      motion
	Lines       []line
	Unseen      [mooring.Stern + 1]unseenGroup
	Raised      []Change // raised and not cleared, oldest first
	Odd         Oddities
}

// New starts a berth from nothing. The plan must not change afterwards.
func New(plan *mooring.Plan) *Berth {
	b := &Berth{plan: plan, models: lineModels(plan), levers: leversOf(plan), stepResponse: newStepResponse(),
		fenders: fenderEnds(plan), index: make(map[string]int, len(plan.Lines))}
	for i := range plan.Lines {
		b.index[plan.Lines[i].ID] = i
	}
	b.rise = newUnseenRise(len(plan.Lines))
	b.state.Feed = newFeed(len(plan.Lines))
	b.state.Lines = make([]line, len(plan.Lines))
	for i := range b.state.Lines {
		b.state.Lines[i].start(plan.Lines[i].MBLkN)
	}
	return b
}

// Push takes readings of one channel from a source. The series is read before
// the call returns and not kept. Readings wait until Advance passes their time.
func (b *Berth) Push(source string, s *reading.Series) {
	st := &b.state
	from := st.Feed.source(source)
	ring := st.Feed.channel(b.channel(s.Channel))
	if ring == nil {
		st.Odd.Unknown += uint64(s.Len())
		return
	}
	for i, t := range s.Time {
		q := s.QualityAt(i)
		if q == reading.Bad {
			st.Odd.Bad++
		}
		if q == reading.Late || t <= st.Feed.Watermark || t > lastTime {
			st.Odd.Late++
			continue
		}
		from.Last = max(from.Last, t)
		v := s.Value[i] + 0 // turns −0 into 0: a snapshot would lose the sign
		if q == reading.Bad {
			v = missing
		}
		switch ring.insert(t, v) {
		case duplicate:
			st.Odd.Duplicate++
		case overflow:
			st.Odd.Overflow++
		}
	}
}

// Advance takes a source's promise that no good reading at or before completeUntil
// (Unix nanoseconds) follows, runs the detectors as far as the promises of all sources
// allow, and appends the changes to dst.
func (b *Berth) Advance(source string, completeUntil int64, dst []Change) []Change {
	b.state.Feed.promise(source, min(completeUntil, lastTime))
	b.out = dst
	b.run()
	dst, b.out = b.out, nil
	return dst
}

// Active is what is raised and not cleared, oldest first.
func (b *Berth) Active() []Change {
	return append([]Change(nil), b.state.Raised...)
}

// Oddities counts the readings that were not used, since New; a snapshot
// carries the counts.
func (b *Berth) Oddities() Oddities { return b.state.Odd }

// channel is the feed's index of a channel, or -1 where the plan has no such
// line or the line has no such sensor.
func (b *Berth) channel(c reading.Channel) int {
	if !c.Kind.OfLine() {
		if c.Kind == reading.Unknown || c.Kind > reading.UnderWatch {
			return -1
		}
		return int(c.Kind - reading.WindSpeed)
	}
	i, ok := b.index[c.Line]
	if !ok || c.Kind == reading.Tension && !b.plan.Lines[i].Instrumented {
		return -1
	}
	return berthChannels + i*lineChannels + int(c.Kind-reading.Tension)
}
