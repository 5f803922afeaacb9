package live

import (
	"math"
	"sync"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
)

// value is the newest good reading of a channel.
type value struct {
	at       int64 // event time, Unix nanoseconds
	received time.Time
	v        float64
}

func (v *value) known() bool { return !v.received.IsZero() }

// within reports whether the value came in less than limit ago.
func (v *value) within(limit time.Duration, now time.Time) bool {
	return v.known() && now.Sub(v.received) < limit
}

// line is what is known of one line.
type line struct {
	tension, payout, brake value
	badAt                  int64   // event time of the load pin's newest bad reading
	shownFrom              float64 // kN, NaN for not known
	course                 course
}

// berth is what is known of one berth.
type berth struct {
	name  string
	plan  *mooring.Plan
	index map[string]int // of lines by id

	mu       sync.Mutex
	lines    []line
	values   [reading.UnderWatch + 1]value // of the berth, by kind
	newest   int64                         // event time
	how      hawserv1.OperatingState
	received time.Time
	fresh    bool // drawn shows all of the above
	drawn    *hawserv1.BerthPicture
	drawnAt  time.Time
}

func newBerth(name string, plan *mooring.Plan) *berth {
	b := &berth{name: name, plan: plan, index: make(map[string]int, len(plan.Lines)), lines: make([]line, len(plan.Lines))}
	for i := range plan.Lines {
		b.index[plan.Lines[i].ID], b.lines[i].shownFrom = i, math.NaN()
	}
	return b
}

func (b *berth) update(received time.Time, block *reading.Block) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range block.Series {
		b.take(received, &block.Series[i])
	}
	if received.After(b.received) {
		b.received = received
	}
	b.fresh = false
}

// lies takes how the ship lies; it reports whether that is news.
func (b *berth) lies(how detect.Operating) bool {
	state := operatingStates[how]
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.how == state {
		return false
	}
	b.how, b.fresh = state, false
	return true
}

// shows takes from which loads partings are told that no load pin shows, rounded to a kN;
// it reports whether that is news. Those of another plan are passed over.
func (b *berth) shows(least []float64) (news bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(least) != len(b.lines) {
		return false
	}
	for i, kN := range least {
		l, kN := &b.lines[i], math.Ceil(kN)
		news = news || l.shownFrom != kN && !(math.IsNaN(l.shownFrom) && math.IsNaN(kN))
		l.shownFrom = kN
	}
	b.fresh = b.fresh && !news
	return news
}

var operatingStates = [...]hawserv1.OperatingState{
	detect.MadeFast:   hawserv1.OperatingState_OPERATING_STATE_MADE_FAST,
	detect.StoodDown:  hawserv1.OperatingState_OPERATING_STATE_STOOD_DOWN,
	detect.LinesMoved: hawserv1.OperatingState_OPERATING_STATE_LINES_MOVED,
}

// take takes one channel's readings.
func (b *berth) take(received time.Time, s *reading.Series) {
	if !s.Channel.Kind.OfLine() {
		if int(s.Channel.Kind) < len(b.values) {
			b.last(&b.values[s.Channel.Kind], received, s)
		}
		return
	}
	i, ok := b.index[s.Channel.Line]
	if !ok {
		return
	}
	l := &b.lines[i]
	switch s.Channel.Kind {
	case reading.Payout:
		b.last(&l.payout, received, s)
	case reading.Brake:
		b.last(&l.brake, received, s)
	case reading.Tension:
		if b.last(&l.tension, received, s) {
			l.course, l.badAt = course{}, 0
		}
		for j, t := range s.Time {
			switch s.QualityAt(j) {
			case reading.Good:
				l.course.add(t, s.Value[j])
			case reading.Bad:
				l.badAt = max(l.badAt, t)
			}
		}
	}
}

// last keeps the newest good reading of a series. A source whose clock ran ahead
// and was put right is taken at its new time once the old has stood for the
// silence limit: wentBack says so.
func (b *berth) last(v *value, received time.Time, s *reading.Series) (wentBack bool) {
	for j, t := range s.Time {
		if s.QualityAt(j) != reading.Good || t < v.at && received.Sub(v.received) < silent {
			continue
		}
		if t < v.at {
			wentBack, b.newest = true, t
		}
		*v = value{at: t, received: received, v: s.Value[j]}
		b.newest = max(b.newest, t)
	}
	return wentBack
}

// sensor is what a line's load pin is worth.
func (b *berth) sensor(i int, now time.Time) hawserv1.SensorState {
	l := &b.lines[i]
	switch {
	case !b.plan.Lines[i].Instrumented:
		return hawserv1.SensorState_SENSOR_STATE_NONE
	case now.Sub(b.received) >= silent:
		return hawserv1.SensorState_SENSOR_STATE_SILENT
	case l.badAt > l.tension.at:
		return hawserv1.SensorState_SENSOR_STATE_BAD
	case !l.tension.within(silent, now):
		return hawserv1.SensorState_SENSOR_STATE_SILENT
	}
	return hawserv1.SensorState_SENSOR_STATE_GOOD
}
