// Package performance measures the alarm system itself by the figures of
// ANSI/ISA-18.2 and EEMUA 191: how often people are called, floods, alarms that
// stand for ever, that come and go, and that make up most of the load. It follows
// the alarm log and never changes it. Its invariant: memory is bounded, however
// long the log.
//
//	alarm log ─► raises that called somebody, by time ─► Report ─┬─► page
//	                                                            └─► metrics
//
// An operator position is a berth here, or all of them. Time is when a person
// could first see the alarm: the server's, not the readings'.
package performance

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/services/alarm"
)

// The benchmarks, ANSI/ISA-18.2-2016 clause 16 and EEMUA 191, from memory.
const (
	Interval       = 10 * time.Minute // in which raises are counted
	Acceptable     = 1.0              // raises an interval, on average
	Manageable     = 2.0              // the most that can be managed, on average
	FloodBegins    = 10               // more raises than this in an interval are a flood
	FloodShareMost = 0.01             // of intervals
	Stale          = 24 * time.Hour   // active for longer than this
	StaleMost      = 5                // alarms, with a plan to see to each
	ChatterRaises  = 3                // of one alarm within ChatterIn
	ChatterIn      = time.Minute
	FrequentMost   = 0.05 // of all raises, by the ten most frequent
)

const (
	longest  = 31 * 24 * time.Hour // that is reported on
	keepFor  = 2 * longest         // and the time before it
	keepMost = 100_000
	topMost  = 10
)

// Log is the alarm log. Safe for concurrent use.
type Log interface {
	List(berth string, cleared bool) (alarms []alarm.State, position uint64)
	Follow(ctx context.Context, after uint64, fn func(*alarm.Record) error)
}

// raise is one call of somebody.
type raise struct {
	at       time.Time
	subject  alarm.Subject
	priority detect.Priority
}

// Tracker follows the alarm log. Safe for concurrent use.
type Tracker struct {
	log Log
	now func() time.Time

	mu     sync.Mutex
	began  time.Time // what is counted: the log's first record, or what was dropped last; zero before there is one
	raises []raise   // oldest first
}

// New makes a tracker; now nil means the system's clock. Registerer gets the
// figures of the last hour.
func New(l Log, r prometheus.Registerer, now func() time.Time) (*Tracker, error) {
	if now == nil {
		now = time.Now
	}
	t := &Tracker{log: l, now: now}
	return t, r.Register(collector{t})
}

// Run follows the log until ctx ends or the log is closed.
func (t *Tracker) Run(ctx context.Context) error {
	t.log.Follow(ctx, 0, func(r *alarm.Record) error {
		t.take(r)
		return nil
	})
	return nil
}

func (t *Tracker) take(r *alarm.Record) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.began.IsZero() {
		t.began = r.Recorded
	}
	called := r.Transition == alarm.Raised || r.Transition == alarm.Unsuppressed
	if !called || r.Lifecycle.Quiet() {
		return
	}
	subject := r.Subject
	if subject.Line != "" {
		subject.Source = "" // the line's alarm is one, whoever sent it
	}
	t.raises = append(t.raises, raise{r.Recorded, subject, r.Priority})
	oldest := r.Recorded.Add(-keepFor)
	drop := max(0, len(t.raises)-keepMost)
	for drop < len(t.raises) && t.raises[drop].at.Before(oldest) {
		drop++
	}
	if drop > 0 && (drop >= len(t.raises)/4 || len(t.raises) > keepMost+keepMost/4) {
		if last := t.raises[drop-1].at; last.After(oldest) {
			t.began = last // more than are kept: from here on all are counted
		}
		t.raises = slices.Delete(t.raises, 0, drop)
	}
}

// Frequent is an alarm and how often it was raised.
type Frequent struct {
	Subject alarm.Subject
	Raised  int
	Share   float64 // of all
}

// Report is how the alarms of a position did over a period.
type Report struct {
	Berth    string // empty for all
	From, To time.Time
	Began    time.Time // of what is counted where that is after From, else zero
	Rates
	// Before are those of as long a time before, nil where what is counted does not go
	// back so far: the log began later, or there were more than 100,000 raises since.
	Before  *Rates
	Course  []Step // the period, cut up
	Flooded bool   // the interval that ends now is a flood
	// ByPriority is the share of each priority of those raised, by detect.Priority.
	ByPriority [detect.Caution + 1]float64
	Frequent   []Frequent // at most ten, most frequent first
	// FrequentShare is what those ten make up together.
	FrequentShare float64
	Chattering    []Frequent // with the most raises within ChatterIn
	Standing      []alarm.State
}

// Report measures a berth, or all for "", over the period that ends now, of whole
// intervals and at most a month.
func (t *Tracker) Report(berth string, period time.Duration) Report {
	to := t.now()
	period = min(max(period.Truncate(Interval), Interval), longest)
	r := Report{Berth: berth, From: to.Add(-period), To: to}
	before := r.From.Add(-period)
	t.mu.Lock()
	var raises, earlier []raise
	for _, x := range t.raises {
		switch {
		case berth != "" && x.subject.Berth != berth, x.at.After(to), x.at.Before(before):
		case x.at.Before(r.From):
			earlier = append(earlier, x)
		default:
			raises = append(raises, x)
		}
	}
	began := t.began
	t.mu.Unlock()
	if began.After(r.From) {
		r.Began = began
	}
	if !began.IsZero() && !began.After(before) {
		rates, _ := ratesOf(earlier, before, period)
		r.Before = &rates
	}
	var counts []int
	r.Rates, counts = ratesOf(raises, r.From, period)
	r.Flooded = counts[len(counts)-1] > FloodBegins
	r.priorities(raises)
	r.Course = courseOf(counts, r.From, period)
	r.subjects(raises)
	active, _ := t.log.List(berth, false)
	for i := range active {
		if s := &active[i]; s.Calls() && to.Sub(s.Called) > Stale {
			r.Standing = append(r.Standing, *s)
		}
	}
	return r
}

// subjects finds the most frequent and those that come and go.
func (r *Report) subjects(raises []raise) {
	times := map[alarm.Subject][]time.Time{}
	for _, x := range raises {
		times[x.subject] = append(times[x.subject], x.at)
	}
	for s, at := range times {
		r.Frequent = append(r.Frequent, Frequent{s, len(at), float64(len(at)) / float64(len(raises))})
		if n := mostWithin(at, ChatterIn); n >= ChatterRaises {
			r.Chattering = append(r.Chattering, Frequent{s, n, float64(n) / float64(len(raises))})
		}
	}
	order := func(a, b Frequent) int {
		return cmp.Or(cmp.Compare(b.Raised, a.Raised), cmp.Compare(a.Subject.Berth, b.Subject.Berth),
			cmp.Compare(a.Subject.Condition, b.Subject.Condition), cmp.Compare(a.Subject.Line, b.Subject.Line), cmp.Compare(a.Subject.Group, b.Subject.Group))
	}
	slices.SortFunc(r.Frequent, order)
	slices.SortFunc(r.Chattering, order)
	r.Frequent = r.Frequent[:min(len(r.Frequent), topMost)]
	for _, f := range r.Frequent {
		r.FrequentShare += f.Share
	}
}

// mostWithin is the most of these times, which rise, that lie within a span.
func mostWithin(at []time.Time, span time.Duration) int {
	most, first := 0, 0
	for i := range at {
		for at[i].Sub(at[first]) > span {
			first++
		}
		most = max(most, i-first+1)
	}
	return most
}

// collector gives the figures of the last hour when asked.
type collector struct{ t *Tracker }

func descs() (peak, flood, chattering, standing *prometheus.Desc) {
	d := func(name, help string) *prometheus.Desc { return prometheus.NewDesc(name, help, nil, nil) }
	return d("hawser_alarm_peak_raises", "Most alarms raised in ten minutes of the last hour."),
		d("hawser_alarm_flood", "1 while over ten alarms were raised in the last ten minutes."),
		d("hawser_alarm_chattering", "Alarms raised three times or more within a minute, in the last hour."),
		d("hawser_alarm_standing", "Alarms active for over a day and not held.")
}

func (c collector) Describe(ch chan<- *prometheus.Desc) {
	a, b, d, e := descs()
	ch <- a
	ch <- b
	ch <- d
	ch <- e
}

func (c collector) Collect(ch chan<- prometheus.Metric) {
	r := c.t.Report("", time.Hour)
	flood := 0.0
	if r.Flooded {
		flood = 1
	}
	peak, flooded, chattering, standing := descs()
	gauge := func(d *prometheus.Desc, v float64) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v)
	}
	gauge(peak, float64(r.Peak))
	gauge(flooded, flood)
	gauge(chattering, float64(len(r.Chattering)))
	gauge(standing, float64(len(r.Standing)))
}
