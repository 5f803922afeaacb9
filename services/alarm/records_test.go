package alarm_test

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(stormChild); dir != "" {
		if err := raiseStorm(dir, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	goleak.VerifyTestMain(m)
}

// file is Records in a file, read again from the disk every time: a length as
// uvarint, then the record.
type file struct {
	path string
	mu   sync.Mutex
}

func (f *file) AppendRecord(_ context.Context, _ string, data []byte) (uint64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	n, err := f.read(0, func(uint64, []byte) error { return nil })
	if err != nil {
		return 0, err
	}
	w, err := os.OpenFile(f.path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return 0, err
	}
	_, err = w.Write(append(binary.AppendUvarint(nil, uint64(len(data))), data...))
	return n + 1, errors.Join(err, w.Close())
}

func (f *file) ReadRecords(_ context.Context, _ string, after uint64, fn func(uint64, []byte) error) error {
	_, err := f.read(after, fn)
	return err
}

func (f *file) read(after uint64, fn func(uint64, []byte) error) (n uint64, err error) {
	r, err := os.Open(f.path)
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	} else if err != nil {
		return 0, err
	}
	defer r.Close()
	for in := bufio.NewReader(r); ; n++ {
		size, err := binary.ReadUvarint(in)
		if err == io.EOF {
			return n, nil
		} else if err != nil {
			return n, err
		}
		data := make([]byte, size)
		if _, err := io.ReadFull(in, data); err != nil {
			return n, err
		}
		if n+1 > after {
			if err := fn(n+1, data); err != nil {
				return n, err
			}
		}
	}
}

// everyRecords runs a test over every Records there is.
func everyRecords(t *testing.T, test func(t *testing.T, r alarm.Records)) {
	t.Run("memory", func(t *testing.T) { test(t, &alarmtest.Records{}) })
	t.Run("gaps", func(t *testing.T) { test(t, &alarmtest.Records{Gap: 2}) })
	t.Run("file", func(t *testing.T) { test(t, &file{path: filepath.Join(t.TempDir(), "alarms")}) })
}

func newClock() *alarmtest.Clock {
	return alarmtest.NewClock(time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC))
}

func options(r alarm.Records) alarm.Options {
	return alarm.Options{Records: r, Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry(), Now: newClock().Now}
}

func open(t *testing.T, o alarm.Options) *alarm.Log {
	t.Helper()
	l, err := alarm.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func openOn(t *testing.T, r alarm.Records) *alarm.Log { return open(t, options(r)) }

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// second is a time of the tests' day.
func second(n int) time.Time {
	return time.Date(2026, 3, 1, 4, 5, 6, 700e6, time.UTC).Add(time.Duration(n) * time.Second)
}

func change(c detect.Condition, line string, raised bool, at int) detect.Change {
	return detect.Change{Time: second(at).UnixNano(), Condition: c, Raised: raised, Line: line, Group: mooring.FwdBreast,
		Value: 12.5, Unit: "kN", Detail: "Line " + line + ": told by a test."}
}

func raised(c detect.Condition, line string, at int) []detect.Change {
	return []detect.Change{change(c, line, true, at)}
}

func cleared(c detect.Condition, line string, at int) []detect.Change {
	return []detect.Change{change(c, line, false, at)}
}

// collect gives the records of a log as they are now.
func collect(t *testing.T, l *alarm.Log) []alarm.Record {
	t.Helper()
	end := l.Position()
	if end == 0 {
		return nil
	}
	var out []alarm.Record
	stop := errors.New("stop")
	err := l.Watch(t.Context(), "", 0, func(r *alarm.Record) error {
		out = append(out, *r)
		if r.Position == end {
			return stop
		}
		return nil
	})
	if !errors.Is(err, stop) {
		t.Fatal(err)
	}
	return out
}

func ids(l *alarm.Log, berth string, cleared bool) []string {
	alarms, _ := l.List(berth, cleared)
	out := make([]string, len(alarms))
	for i := range alarms {
		out[i] = alarms[i].ID
	}
	return out
}
