package tsdb

import (
	"context"
	"log/slog"
	"strings"
)

// databaseLog is what the database writes to. It tells of every block it writes,
// merges and deletes as of interest to all, and warns, a kilobyte a line, that blocks
// overlap, which they do whenever a recording of the past comes in. For whoever runs
// hawser both are the ordinary course of things, so they go out at debug.
func databaseLog(log *slog.Logger) *slog.Logger {
	return slog.New(quieter{log.Handler()})
}

// quieter passes on at debug what is ordinary for a database, all else as it is.
type quieter struct{ slog.Handler }

// Enabled has the database offer what it logs at info where debug is wanted.
func (q quieter) Enabled(ctx context.Context, l slog.Level) bool {
	if l == slog.LevelInfo {
		l = slog.LevelDebug
	}
	return q.Handler.Enabled(ctx, l)
}

func (q quieter) Handle(ctx context.Context, r slog.Record) error {
	if r.Level == slog.LevelInfo || strings.HasPrefix(r.Message, "Overlapping blocks found") {
		r.Level = slog.LevelDebug
	}
	if !q.Handler.Enabled(ctx, r.Level) {
		return nil
	}
	return q.Handler.Handle(ctx, r)
}

func (q quieter) WithAttrs(a []slog.Attr) slog.Handler { return quieter{q.Handler.WithAttrs(a)} }

func (q quieter) WithGroup(name string) slog.Handler { return quieter{q.Handler.WithGroup(name)} }
