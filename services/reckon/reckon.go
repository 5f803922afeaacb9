// Package reckon says what moorings bear: it answers what people ask of one, and
// every second finds for every berth what would follow the loss of each line, as
// its loads are now. A line that has parted, by the alarm that says so, holds nothing,
// nor does one without a load pin while an alarm says that it may have; of one whose
// pin is at fault no load is known.
// It never looks at how a load came about otherwise, and keeps nothing but its last
// answers. Its invariant: an answer is of loads that were live when it was
// reckoned, or says that it is the plan's.
//
//	mean loads ─► put in line ─► lose each line ─┬─► ListLosses
//	                                             └─► alarm log: one-line-from-limit
//
// The warning one-line-from-limit stands while the loss of any one line would bring
// another, that is under its working load limit, to it, or leave the ship with
// nothing that holds her: raised after five rounds in a row, cleared after sixty
// without and with 0.03 of the limit to spare, by figures that are common practice,
// no source. A ship at rest again is what is reckoned; her swing there loads lines
// more.
package reckon

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect/assess"
	"hawser/services/alarm"
	"hawser/services/live"
)

// OneLineFromLimit is the warning's name in the alarm log.
const OneLineFromLimit = "one-line-from-limit"

// every is the time between two rounds.
const every = time.Second

// Board gives the loads as they are now.
type Board interface {
	Means(berth string) (live.Means, bool)
}

// Alarms is the alarm log.
type Alarms interface {
	RaiseOwn(ctx context.Context, o alarm.Own) error
	ClearOwn(ctx context.Context, berth, condition string) error
	List(berth string, cleared bool) (alarms []alarm.State, position uint64)
}

// Options are what a Reckoner needs; all are required but Asked.
type Options struct {
	Board      Board
	Berths     func() []string
	Alarms     Alarms
	Log        *slog.Logger
	Registerer prometheus.Registerer
	// Asked bounds how many questions are answered at once; 0 means 2. Others wait.
	Asked int
}

// Reckoner reckons. Safe for concurrent use.
type Reckoner struct {
	o     Options
	m     *metrics
	asked chan struct{}

	mu     sync.Mutex
	berths map[string]*berth // bounded by the plans
}

// berth is what is kept of one berth.
type berth struct {
	newest  time.Time // of the readings last reckoned
	at      time.Time // when, by the server's clock
	mooring *assess.Mooring
	losses  []assess.Loss // nil while the berth is not live
	streak  streak
}

// New makes a reckoner.
func New(o Options) (*Reckoner, error) {
	if o.Board == nil || o.Berths == nil || o.Alarms == nil || o.Log == nil || o.Registerer == nil {
		return nil, errors.New("reckon: Board, Berths, Alarms, Log and Registerer are required")
	}
	if o.Asked <= 0 {
		o.Asked = 2
	}
	return &Reckoner{o: o, m: newMetrics(o.Registerer), asked: make(chan struct{}, o.Asked), berths: map[string]*berth{}}, nil
}

// Run goes round every second until ctx ends. It is called once.
func (r *Reckoner) Run(ctx context.Context) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	blind := false
	for {
		select {
		case <-ctx.Done():
			return nil
		case now := <-tick.C:
			err := r.Round(ctx, now)
			if ctx.Err() == nil && err != nil && !blind {
				r.o.Log.Error("what follows the loss of a line cannot be told", "err", err)
			}
			blind = err != nil
		}
	}
}

// Round reckons every berth whose loads are live and new, and raises or clears its
// warning.
func (r *Reckoner) Round(ctx context.Context, now time.Time) error {
	began := time.Now()
	var errs []error
	names := r.o.Berths()
	for _, name := range names {
		if err := r.round(ctx, name, now); err != nil {
			errs = append(errs, err)
		}
	}
	r.forget(names)
	r.m.round.Observe(time.Since(began).Seconds())
	return errors.Join(errs...)
}

func (r *Reckoner) round(ctx context.Context, name string, now time.Time) error {
	b := r.berth(name)
	means, ok := r.o.Board.Means(name)
	if !ok {
		r.keep(b, nil, nil, now)
		return nil
	}
	if linesMove(&means) {
		r.keep(b, nil, nil, now)
		b.streak = streak{}
		return r.o.Alarms.ClearOwn(ctx, name, OneLineFromLimit)
	}
	if means.Newest.Equal(b.newest) {
		return nil
	}
	b.newest = means.Newest
	active, _ := r.o.Alarms.List(name, false)
	heard := Hear(means.Plan, active)
	means = trusted(means, heard.AtFault)
	m, c, known := present(&means, heard.Parted)
	if 2*known < instrumented(means.Plan) || known == 0 {
		r.keep(b, nil, nil, now)
		return nil
	}
	losses := m.LoseEach(c)
	r.keep(b, m, losses, now)
	r.m.tell(name, m, losses)
	intact, err := m.Steady(c)
	if err != nil {
		return nil // over every limit already, which others tell
	}
	f := judge(m, &intact, losses)
	switch b.streak.look(f) {
	case holds:
		return r.o.Alarms.RaiseOwn(ctx, f.own(name))
	case over:
		return r.o.Alarms.ClearOwn(ctx, name, OneLineFromLimit)
	}
	return nil
}

func (r *Reckoner) berth(name string) *berth {
	r.mu.Lock()
	defer r.mu.Unlock()
	b := r.berths[name]
	if b == nil {
		b = &berth{}
		r.berths[name] = b
	}
	return b
}

// keep puts an answer where others read it. The rest of a berth is the round's own.
func (r *Reckoner) keep(b *berth, m *assess.Mooring, losses []assess.Loss, now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	b.mooring, b.losses, b.at = m, losses, now
}

// forget drops berths that are no more.
func (r *Reckoner) forget(names []string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for name := range r.berths {
		if !slices.Contains(names, name) {
			delete(r.berths, name)
			r.m.forget(name)
		}
	}
}
