package deliver

import (
	"context"
	"fmt"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
)

// failing is the server's own condition while a destination is out of reach.
const failing = "delivery-failing"

// tried notes how a try at a destination went.
func (d *Deliverer) tried(t *target, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case err == nil:
		if t.err != nil {
			d.o.Logger.Info("destination of alarms is back", "destination", t.name)
		}
		t.failed = time.Time{}
	case t.err == nil:
		t.failed = time.Now()
		d.o.Logger.Warn("alarms not delivered, trying again", "destination", t.name, "err", err)
	}
	if err != nil {
		d.m.failures.WithLabelValues(t.name).Inc()
	}
	t.err = err
}

// overdue is why a destination counts as failing, nil where it does not.
func (t *target) overdue(after time.Duration) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.err == nil || time.Since(t.failed) < after {
		return nil
	}
	return t.err
}

// overlook raises an alarm while any destination has been out of reach too long:
// those who rely on it do not know that they hear nothing.
func (d *Deliverer) overlook(ctx context.Context) {
	tick := time.NewTicker(min(time.Second, d.o.FailAfter/2+time.Millisecond))
	defer tick.Stop()
	raised, known := false, false
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		var lost []string
		for _, t := range d.targets {
			err := t.overdue(d.o.FailAfter)
			d.m.failing(t.name, err != nil)
			if err != nil {
				lost = append(lost, fmt.Sprintf("%s (%v)", t.name, err))
			}
		}
		if known && raised == (len(lost) > 0) {
			continue
		}
		// The first time the log may still hold it from before a restart.
		if err := d.say(ctx, lost); err != nil {
			if ctx.Err() == nil {
				d.o.Logger.Error("failing delivery not told", "err", err)
			}
			continue
		}
		raised, known = len(lost) > 0, true
	}
}

func (d *Deliverer) say(ctx context.Context, lost []string) error {
	if len(lost) == 0 {
		return d.o.Log.ClearOwn(ctx, "", failing)
	}
	return d.o.Log.RaiseOwn(ctx, alarm.Own{
		Condition: failing, Priority: detect.Alarm,
		Measure: alarm.Measure{Value: float64(len(lost)), HasValue: true, Unit: "destinations"},
		Detail: "Server: alarms do not reach " + strings.Join(lost, "; ") +
			". Tell those who rely on it by other means until it is back.",
	})
}
