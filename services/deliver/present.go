package deliver

import (
	"context"
	"time"

	"hawser/services/alarm"
)

// breath is the least time from one telling to the next, so that a storm of
// changes becomes a few messages.
const breath = 50 * time.Millisecond

// present keeps a destination told of the present state: at once when something
// changed, every so often, and again after a try that failed. It holds no queue:
// what was missed is in the state.
type present struct {
	d     *Deliverer
	t     *target
	every time.Duration
	tell  func(ctx context.Context, alarms []alarm.State) error
	again <-chan struct{} // tell all anew; may be nil
}

func (p *present) run(ctx context.Context) {
	watch, stop := context.WithCancel(ctx)
	changed, done := make(chan *alarm.Record, 1), make(chan struct{})
	go func() { // ends with the log or with stop below
		defer close(done)
		p.watch(watch, changed)
	}()
	p.loop(watch, changed, done)
	stop()
	<-done
}

// watch puts a record of interest into the slot.
func (p *present) watch(ctx context.Context, slot chan *alarm.Record) {
	_, end := p.d.o.Log.List("", false)
	p.d.o.Log.Follow(ctx, end, func(r *alarm.Record) error {
		if p.t.filter.wants(r.Subject, r.Priority, r.Level, p.d.o.Now()) {
			select {
			case slot <- r:
			default: // it will be in the state that is told next
			}
		}
		return nil
	})
}

func (p *present) loop(ctx context.Context, changed <-chan *alarm.Record, done <-chan struct{}) {
	retry := p.d.retry()
	timer := time.NewTimer(0)
	defer timer.Stop()
	heed := changed // nil while the destination is out of reach: the timer tries
	for {
		var cause *alarm.Record
		select {
		case <-ctx.Done():
			return
		case <-done:
			return
		case <-p.again:
		case cause = <-heed:
		case <-timer.C:
		}
		err := p.tell(ctx, p.wanted())
		if ctx.Err() != nil {
			return
		}
		p.d.tried(p.t, err)
		next := p.every
		if err != nil {
			next, heed = min(retry.NextBackOff(), p.every), nil
		} else {
			retry.Reset()
			heed = changed
			p.d.m.sent.WithLabelValues(p.t.name).Inc()
			if cause != nil {
				p.d.m.delay.WithLabelValues(p.t.name).Observe(time.Since(cause.Recorded).Seconds())
			}
		}
		timer.Reset(next)
		if !wait(ctx, breath) {
			return
		}
	}
}

// wanted is the state of the alarms of interest, active first, then those cleared
// and still in memory.
func (p *present) wanted() []alarm.State {
	alarms, _ := p.d.o.Log.List("", true)
	kept := alarms[:0]
	for i := range alarms {
		if p.t.filter.wants(alarms[i].Subject, alarms[i].Priority, alarms[i].Level, p.d.o.Now()) {
			kept = append(kept, alarms[i])
		}
	}
	return kept
}
