// Package deliver carries alarms out of the server to where people and machines
// listen: Prometheus Alertmanagers, webhooks and an MQTT broker. It never decides
// what is an alarm. Its invariant: what the alarm log holds reaches every
// destination that wants it, however long that one was away, and a destination
// that is away holds up no other.
//
//	alarm log ─┬─► webhook: every record, in order, signed   (its place is kept)
//	           ├─► Alertmanager: what is active, again and again ┐ the present state:
//	           └─► MQTT: retained state, and a sign of life      ┘ nothing to queue
//	                 └─ out of reach too long ──► an alarm of the server's own
//
// The log itself is the queue, so what waits for a destination takes no memory.
package deliver

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"
	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/services/alarm"
)

// Log is the alarm log. Safe for concurrent use.
type Log interface {
	List(berth string, cleared bool) (alarms []alarm.State, position uint64)
	Watch(ctx context.Context, berth string, after uint64, fn func(*alarm.Record) error) error
	Follow(ctx context.Context, after uint64, fn func(*alarm.Record) error)
	RaiseOwn(ctx context.Context, o alarm.Own) error
	ClearOwn(ctx context.Context, berth, condition string) error
}

// Positions keeps how far each destination has come, over restarts. Safe for
// concurrent use.
type Positions interface {
	SavePosition(ctx context.Context, name string, position uint64) error
	LoadPosition(ctx context.Context, name string) (position uint64, ok bool, err error)
}

// Filter says which alarms a destination wants. The zero Filter wants all.
type Filter struct {
	Berths []string // empty for all; the server's own alarms go everywhere
	// Least is the lowest priority wanted; 0 means caution, which is all.
	Least detect.Priority
	// Level is how often an alarm has to have been escalated: 1 is for the next in
	// line, who hear of what nobody has taken on in time.
	Level int
	// Quiet are hours in which only emergencies are wanted; nil for none.
	Quiet *Quiet
}

func (f *Filter) wants(s alarm.Subject, p detect.Priority, level int, now time.Time) bool {
	switch {
	case f.Least != 0 && p > f.Least, level < f.Level:
		return false
	case p != detect.Emergency && f.Quiet.at(now):
		return false
	}
	return len(f.Berths) == 0 || s.Berth == "" || slices.Contains(f.Berths, s.Berth)
}

// Options say where alarms go. Log, Positions, Logger and Registerer are
// required, the destinations' names must differ.
type Options struct {
	Log       Log
	Positions Positions

	Alertmanagers []Alertmanager
	Webhooks      []Webhook
	Brokers       []Broker

	// ExternalURL is where people find this server's page, for links; may be empty.
	ExternalURL string
	// FailAfter is how long a destination may be out of reach before that is an
	// alarm; default 30 s.
	FailAfter time.Duration
	// RetryMin and RetryMax bound the wait between two tries, which grows from one
	// to the other; defaults 200 ms and 30 s.
	RetryMin, RetryMax time.Duration

	// Now is the clock that quiet hours go by; nil means the system's.
	Now        func() time.Time
	Logger     *slog.Logger
	Registerer prometheus.Registerer
}

func (o *Options) validate() error {
	if o.Log == nil || o.Positions == nil || o.Logger == nil || o.Registerer == nil {
		return errors.New("deliver: Log, Positions, Logger and Registerer are required")
	}
	if o.FailAfter < 0 || o.RetryMin < 0 || o.RetryMax < 0 {
		return errors.New("deliver: negative duration")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	o.FailAfter = cmp.Or(o.FailAfter, 30*time.Second)
	o.RetryMin = cmp.Or(o.RetryMin, 200*time.Millisecond)
	o.RetryMax = cmp.Or(o.RetryMax, 30*time.Second)
	return nil
}

// Deliverer delivers to every destination.
type Deliverer struct {
	o       Options
	m       *metrics
	targets []*target
}

// target is one destination with how it fares.
type target struct {
	name   string
	filter Filter
	run    func(ctx context.Context, d *Deliverer, t *target)

	mu     sync.Mutex
	failed time.Time // since when, zero while in reach
	err    error     // of the last try
}

// New checks the options and makes ready; Run begins.
func New(o Options) (*Deliverer, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	d := &Deliverer{o: o, m: newMetrics(o.Registerer)}
	for _, a := range o.Alertmanagers {
		if err := d.add(a.target()); err != nil {
			return nil, err
		}
	}
	for _, w := range o.Webhooks {
		if err := d.add(w.target()); err != nil {
			return nil, err
		}
	}
	for _, b := range o.Brokers {
		if err := d.add(b.target()); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func (d *Deliverer) add(t *target, err error) error {
	if err != nil {
		return fmt.Errorf("deliver: %w", err)
	}
	if t.name == "" || slices.ContainsFunc(d.targets, func(other *target) bool { return other.name == t.name }) {
		return fmt.Errorf("deliver: %q: every destination needs a name of its own", t.name)
	}
	d.targets = append(d.targets, t)
	d.m.start(t.name)
	return nil
}

// Run delivers until ctx ends or the log is closed. It is called once.
func (d *Deliverer) Run(ctx context.Context) error {
	var work sync.WaitGroup
	for _, t := range d.targets {
		work.Go(func() { t.run(ctx, d, t) })
	}
	work.Go(func() { d.overlook(ctx) })
	work.Wait()
	return nil
}

// retry is the waits between tries.
func (d *Deliverer) retry() *backoff.ExponentialBackOff {
	b := backoff.NewExponentialBackOff()
	b.InitialInterval, b.MaxInterval = d.o.RetryMin, d.o.RetryMax
	return b
}

// wait sleeps, or reports that ctx has ended.
func wait(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}
