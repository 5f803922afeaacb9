package deliver

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"hawser/services/alarm"
)

// errRefused is under the error of a send whose message the destination will not
// take as it is: trying again would not help.
var errRefused = errors.New("refused")

// follow gives a destination every record it wants, in order, each until it has
// been taken or refused.
type follow struct {
	d    *Deliverer
	t    *target
	send func(ctx context.Context, r *alarm.Record) error

	position atomic.Uint64 // up to where all is delivered
	saved    uint64        // of keepPosition alone
}

// run delivers until ctx ends or the log is closed.
func (f *follow) run(ctx context.Context) {
	watch, stop := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { // ends with the watch below
		defer close(done)
		f.keepPosition(watch)
	}()
	f.deliver(watch)
	stop()
	<-done
}

func (f *follow) deliver(ctx context.Context) {
	retry := f.d.retry()
	for {
		err := f.begin(ctx)
		if err == nil {
			break
		}
		f.d.o.Logger.Error("place in the alarm log not found, trying again", "destination", f.t.name, "err", err)
		if !wait(ctx, retry.NextBackOff()) {
			return
		}
	}
	f.d.o.Log.Follow(ctx, f.position.Load(), func(r *alarm.Record) error {
		err := f.one(ctx, r)
		if err == nil {
			f.position.Store(r.Position)
		}
		return err
	})
}

// begin finds where to begin. A destination that is new is told of what is active
// now, by the records that made it so, and not of what is long over.
func (f *follow) begin(ctx context.Context) error {
	position, ok, err := f.d.o.Positions.LoadPosition(ctx, f.t.name)
	if err != nil {
		return err
	}
	if ok {
		f.position.Store(position)
		return nil
	}
	if err := f.catchUp(ctx); err != nil {
		return err
	}
	// Kept at once: from here on it is not new.
	return f.d.o.Positions.SavePosition(ctx, f.t.name, f.position.Load())
}

var errEnd = errors.New("the end of what was there")

// catchUp delivers the records of what is active now.
func (f *follow) catchUp(ctx context.Context) error {
	alarms, end := f.d.o.Log.List("", false)
	if end == 0 {
		return nil
	}
	active := make(map[string]bool, len(alarms))
	for i := range alarms {
		active[alarms[i].ID] = true
	}
	err := f.d.o.Log.Watch(ctx, "", 0, func(r *alarm.Record) error {
		if r.Position <= end && active[r.ID] {
			if err := f.one(ctx, r); err != nil {
				return err
			}
		}
		if r.Position >= end {
			return errEnd
		}
		return nil
	})
	if !errors.Is(err, errEnd) {
		return err
	}
	f.position.Store(end)
	return nil
}

// one delivers a record if it is wanted, trying until it is taken or refused, or
// ctx ends. Of an alarm that was held from its raise, or is suppressed by design,
// nobody has to hear.
func (f *follow) one(ctx context.Context, r *alarm.Record) error {
	held := r.Transition == alarm.Raised && r.Lifecycle.Quiet()
	if r.Transition == alarm.Rewound || held || r.Quiet || !f.t.filter.wants(r.Subject, r.Priority, r.Level, f.d.o.Now()) {
		return nil
	}
	retry := f.d.retry()
	for {
		err := f.send(ctx, r)
		switch {
		case err == nil: // though it may be to end by now
			f.d.tried(f.t, nil)
			f.d.m.sent.WithLabelValues(f.t.name).Inc()
			f.d.m.delay.WithLabelValues(f.t.name).Observe(time.Since(r.Recorded).Seconds())
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, errRefused):
			f.d.m.refused.WithLabelValues(f.t.name).Inc()
			f.d.o.Logger.Error("record of an alarm refused, passed over", "destination", f.t.name, "position", r.Position, "alarm", r.ID, "err", err)
			f.d.tried(f.t, nil) // it is in reach
			return nil
		}
		f.d.tried(f.t, err)
		pause := retry.NextBackOff()
		var later *laterError
		if errors.As(err, &later) {
			pause = min(max(pause, later.after), f.d.o.RetryMax)
		}
		if !wait(ctx, pause) {
			return ctx.Err()
		}
	}
}

// laterError is a failure whose answer says when to come again.
type laterError struct {
	err   error
	after time.Duration
}

func (e *laterError) Error() string { return e.err.Error() }
func (e *laterError) Unwrap() error { return e.err }

// keepPosition saves the position every second and at the end. After a kill what
// was delivered since is delivered again, under the same identifier.
func (f *follow) keepPosition(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
			defer cancel()
			f.save(last)
			return
		case <-tick.C:
			f.save(ctx)
		}
	}
}

func (f *follow) save(ctx context.Context) {
	at := f.position.Load()
	if at == f.saved {
		return
	}
	if err := f.d.o.Positions.SavePosition(ctx, f.t.name, at); err != nil {
		f.d.o.Logger.Warn("position of a destination not kept", "destination", f.t.name, "position", at, "err", err)
		return
	}
	f.saved = at
}
