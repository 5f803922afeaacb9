package tsdb

import (
	"context"
	"errors"
	"log/slog"
	"strings"

	"github.com/prometheus/prometheus/tsdb/wlog"
)

// databaseLog is what the database writes to. It tells of every block it writes,
// merges and deletes as of interest to all, and warns, a kilobyte a line, that blocks
// overlap, which they do whenever a recording of the past comes in. For whoever runs
// hawser both are the ordinary course of things, so they go out at debug.
//
// Where a log of its own is damaged the database repairs it and says so nowhere else:
// damaged, if not nil, is told.
func databaseLog(log *slog.Logger, damaged func(*wlog.CorruptionErr)) *slog.Logger {
	return slog.New(quieter{log.Handler(), damaged})
}

// quieter passes on at debug what is ordinary for a database, all else as it is.
type quieter struct {
	slog.Handler
	damaged func(*wlog.CorruptionErr)
}

// Enabled has the database offer what it logs at info where debug is wanted, and its
// warnings where damage is to be told.
func (q quieter) Enabled(ctx context.Context, l slog.Level) bool {
	if l == slog.LevelInfo {
		l = slog.LevelDebug
	}
	return l == slog.LevelWarn && q.damaged != nil || q.Handler.Enabled(ctx, l)
}

func (q quieter) Handle(ctx context.Context, r slog.Record) error {
	if q.damaged != nil && r.Level == slog.LevelWarn {
		r.Attrs(func(a slog.Attr) bool {
			err, _ := a.Value.Any().(error)
			c, is := errors.AsType[*wlog.CorruptionErr](err)
			if is {
				q.damaged(c)
			}
			return !is
		})
	}
	if r.Level == slog.LevelInfo || strings.HasPrefix(r.Message, "Overlapping blocks found") {
		r.Level = slog.LevelDebug
	}
	if !q.Handler.Enabled(ctx, r.Level) {
		return nil
	}
	return q.Handler.Handle(ctx, r)
}

func (q quieter) WithAttrs(a []slog.Attr) slog.Handler {
	return quieter{q.Handler.WithAttrs(a), q.damaged}
}

func (q quieter) WithGroup(name string) slog.Handler {
	return quieter{q.Handler.WithGroup(name), q.damaged}
}
