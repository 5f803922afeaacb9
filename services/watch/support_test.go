package watch_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planfile"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
	"hawser/services/waittest"
	"hawser/services/watch"
)

// A story run through the detectors some five times takes a while, so a property
// is checked eight times unless asked otherwise with -rapid.checks.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "8"); err != nil {
		panic(err)
	}
	flag.Parse()
	goleak.VerifyTestMain(m)
}

// plans are the plans by fingerprint. They are not changed while a watch runs.
type plans map[string]*mooring.Plan

func (p plans) PlanByFingerprint(_ context.Context, berth, fingerprint string) (*mooring.Plan, error) {
	plan := p[fingerprint]
	if plan == nil {
		return nil, fmt.Errorf("berth %s: plan %s is not on record", berth, fingerprint)
	}
	return plan, nil
}

// picture notes what it is shown.
type picture struct {
	mu      sync.Mutex
	plan    *mooring.Plan
	samples int
	series  map[reading.Channel]int
	got     time.Time
	how     detect.Operating
	least   []float64
}

func (p *picture) Lies(_ string, how detect.Operating) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.how = how
}

func (p *picture) Shows(_ string, least []float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.least = slices.Clone(least)
}

func (p *picture) SetPlan(_ string, plan *mooring.Plan) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.plan = plan
}

func (p *picture) Update(_ string, received time.Time, b *reading.Block) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.samples += b.Samples()
	p.got = received
	if p.series == nil {
		p.series = map[reading.Channel]int{}
	}
	for i := range b.Series {
		p.series[b.Series[i].Channel] += b.Series[i].Len()
	}
}

// fatal is what *testing.T and *rapid.T share.
type fatal interface {
	Helper()
	Fatalf(format string, args ...any)
	Fatal(args ...any)
}

func openLog(t fatal, r alarm.Records) *alarm.Log {
	t.Helper()
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	l, err := alarm.Open(context.Background(), alarm.Options{Records: r, Logger: slog.New(slog.DiscardHandler),
		Registerer: prometheus.NewRegistry(), Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// history is the alarm log from its beginning, without the positions it gave.
func history(t fatal, r *alarmtest.Records) []alarm.Record {
	t.Helper()
	l := openLog(t, r)
	defer l.Close()
	end := l.Position()
	if end == 0 {
		return nil
	}
	var out []alarm.Record
	errEnd := errors.New("end")
	err := l.Watch(context.Background(), "", 0, func(r *alarm.Record) error {
		c := *r
		c.Position = 0
		out = append(out, c)
		if r.Position == end {
			return errEnd
		}
		return nil
	})
	if !errors.Is(err, errEnd) {
		t.Fatal(err)
	}
	return out
}

// rig is a watch over one berth and all that it needs.
type rig struct {
	journal  *journal
	plans    watch.Plans
	records  *alarmtest.Records
	picture  *picture
	registry *prometheus.Registry
	log      *slog.Logger
	every    time.Duration // SnapshotEvery
	warmUp   uint64
}

func newRig(entries []batch.Entry, p watch.Plans) *rig {
	return &rig{journal: newJournal(entries...), plans: p, records: &alarmtest.Records{}, picture: &picture{},
		log: slog.New(slog.DiscardHandler), every: time.Hour, warmUp: 1 << 40}
}

// open makes the watch as a process that starts does, with the berth in it.
func (r *rig) open(t fatal, alarms watch.Alarms) *watch.Watch {
	t.Helper()
	r.registry = prometheus.NewRegistry()
	w, err := watch.New(watch.Options{Journal: r.journal, Plans: r.plans, Alarms: alarms, Picture: r.picture,
		Log: r.log, Registerer: r.registry, SnapshotEvery: r.every, WarmUp: r.warmUp})
	if err != nil {
		t.Fatal(err)
	}
	w.Add(berth)
	return w
}

// process runs a watch in the calling goroutine until stop is called by what the
// rig's parts do.
func (r *rig) process(t fatal, prepare func(stop func())) {
	t.Helper()
	l := openLog(t, r.records)
	defer l.Close()
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	prepare(stop)
	if err := r.open(t, l).Run(ctx); err != nil {
		t.Fatal(err)
	}
}

// toEnd runs a watch until it has taken all there is.
func (r *rig) toEnd(t fatal) {
	t.Helper()
	r.process(t, func(stop func()) {
		r.journal.AtEnd = func(context.Context) error { stop(); return nil }
	})
}

func loadPlan(t testing.TB, name string) *mooring.Plan {
	t.Helper()
	p, _, err := planfile.Load("../../testdata/plans/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// start runs a watch in the background until stop, which waits for its end.
func (r *rig) start(t *testing.T) (l *alarm.Log, stop func()) {
	t.Helper()
	l = openLog(t, r.records)
	ended := background(t, r.open(t, l))
	return l, func() {
		t.Helper()
		ended()
		l.Close()
	}
}

// background runs a watch until stop, which waits for its end.
func background(t *testing.T, w *watch.Watch) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	return func() {
		t.Helper()
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}

// tell makes the rig's log readable.
func (r *rig) tell() *waittest.Buffer {
	var w waittest.Buffer
	r.log = slog.New(slog.NewTextHandler(&w, nil))
	return &w
}

// counts are the values of the rig's counters and gauges, by name and labels in
// their order, and the counts of its histograms.
func (r *rig) counts(t fatal) map[string]float64 {
	t.Helper()
	families, err := r.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, f := range families {
		for _, m := range f.Metric {
			name := strings.TrimPrefix(f.GetName(), "hawser_watch_")
			for _, l := range m.Label {
				if l.GetName() != "berth" {
					name += " " + l.GetValue()
				}
			}
			out[name] = m.GetCounter().GetValue() + m.GetGauge().GetValue() + float64(m.GetHistogram().GetSampleCount())
		}
	}
	return out
}
