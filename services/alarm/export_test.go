package alarm

import (
	"context"

	"github.com/prometheus/client_golang/prometheus/testutil"
)

// Tick is one second of KeepTime.
func (l *Log) Tick(ctx context.Context) error { return l.tick(ctx) }

// Watchers is how many watch.
func (l *Log) Watchers() int { return int(testutil.ToFloat64(l.m.watchers)) }
