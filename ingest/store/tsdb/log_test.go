package tsdb

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
)

// What the database does in the ordinary course of things is no news to whoever runs
// hawser; what is wrong is.
func TestWhatTheDatabaseLogs(t *testing.T) {
	write := func(l *slog.Logger) {
		l.Info("write block completed")
		l.Warn("Overlapping blocks found during reloadBlocks", "detail", "a kilobyte")
		l.With("component", "wal").WithGroup("of").Warn("Encountered WAL read error, attempting repair")
		l.Error("compaction failed")
	}
	for name, c := range map[string]struct {
		level slog.Level
		lines int
	}{"as it is": {slog.LevelInfo, 2}, "verbose": {slog.LevelDebug, 4}, "errors": {slog.LevelError, 1}} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			write(databaseLog(slog.New(slog.NewTextHandler(&out, &slog.HandlerOptions{Level: c.level})), nil))
			if got := strings.Count(out.String(), "\n"); got != c.lines {
				t.Errorf("%d lines, want %d:\n%s", got, c.lines, out.String())
			}
			if c.level == slog.LevelInfo && !strings.Contains(out.String(), "WAL read error") {
				t.Errorf("a warning is missing:\n%s", out.String())
			}
		})
	}
}
