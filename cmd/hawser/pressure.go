package main

import (
	"context"
	"fmt"
	"log/slog"

	"hawser/detect"
	"hawser/ingest/journal"
	"hawser/services/alarm"
)

// The server's own conditions.
const (
	journalPressure = "journal-pressure"
	journalLoss     = "journal-loss"
)

// pressures carries what the journal says of its limits to the alarm log. The
// journal must not be held up, so there is a bounded queue between; what does
// not fit in is logged by the journal all the same.
type pressures struct {
	queue chan func(context.Context, *alarm.Log) error
}

func newPressures() pressures {
	return pressures{make(chan func(context.Context, *alarm.Log) error, 64)}
}

func (p pressures) put(fn func(context.Context, *alarm.Log) error) {
	select {
	case p.queue <- fn:
	default:
	}
}

func (p pressures) tell(j journal.Pressure) {
	what := "the disk of the journal"
	if j.Reader != "" {
		what = fmt.Sprintf("what %s has not read of the journal (%s)", j.Reader, j.Kind)
	}
	condition := fmt.Sprintf("%s-%s", journalPressure, j.Kind)
	if j.Reader != "" {
		condition += "-" + j.Reader
	}
	p.put(func(ctx context.Context, l *alarm.Log) error {
		if !j.Raised {
			return l.ClearOwn(ctx, "", condition)
		}
		return l.RaiseOwn(ctx, alarm.Own{
			Condition: condition, Priority: detect.Warning,
			Measure: alarm.Measure{Value: 100 * j.Share, HasValue: true, Limit: 100, HasLimit: true, Unit: "%"},
			Detail:  fmt.Sprintf("Server: %s is at %.0f %% of its limit, where readings are lost; see to the reader or give it more room.", what, 100*j.Share),
		})
	})
}

func (p pressures) lost(j journal.Loss) {
	p.put(func(ctx context.Context, l *alarm.Log) error {
		return l.RaiseOwn(ctx, alarm.Own{
			Condition: journalLoss + "-" + j.Reader, Priority: detect.Alarm,
			Measure: alarm.Measure{Value: float64(j.To - j.From + 1), HasValue: true, Unit: "batches"},
			Detail:  fmt.Sprintf("Server: %s could not be given journal positions %d to %d; what they held was not looked at.", j.Reader, j.From, j.To),
		})
	})
}

// run tells the alarm log until ctx ends.
func (p pressures) run(ctx context.Context, l *alarm.Log, log *slog.Logger) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case fn := <-p.queue:
			if err := fn(ctx, l); err != nil && ctx.Err() == nil {
				log.Error("condition of the server not told", "err", err)
			}
		}
	}
}
