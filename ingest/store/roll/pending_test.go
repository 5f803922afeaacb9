package roll_test

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	bolt "go.etcd.io/bbolt"
	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/store/roll"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// openPending opens a list in a file until the function that it returns is called.
func openPending(t *testing.T, path string) (*roll.Pending, func()) {
	t.Helper()
	db, err := roll.OpenFile(path)
	must(t, err)
	p, err := roll.OpenPending(db)
	must(t, err)
	return p, func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
}

// in is the place of a time, minutes after the epoch.
func in(berth string, minutes int) roll.Place {
	return roll.Place{Berth: berth, Start: roll.Floor(int64(minutes)*int64(time.Minute), int64(roll.Span))}
}

func begin(t *testing.T, p *roll.Pending, places ...roll.Place) (end func()) {
	t.Helper()
	touched := map[roll.Place]bool{}
	for _, place := range places {
		touched[place] = true
	}
	must(t, p.Begin(touched))
	return func() { p.End(touched, time.Now()) }
}

func TestTouched(t *testing.T) {
	b := &reading.Block{Series: []reading.Series{
		{Time: []int64{int64(5 * time.Minute), int64(29 * time.Minute), int64(6 * time.Minute), int64(49 * time.Minute)}},
		{Time: []int64{int64(-time.Nanosecond), int64(59 * time.Minute)}},
	}}
	got := map[roll.Place]bool{}
	roll.Touched(got, "a", b, 0, int64(50*time.Minute))
	if len(got) != 3 || !got[in("a", 0)] || !got[in("a", 20)] || !got[in("a", 40)] {
		t.Errorf("touched %v: want the spans from 0:00, 0:20 and 0:40, those before and after left out", got)
	}
}

// What is on the list outlasts the process, an append under way too.
func TestPendingOutlasts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "list.db")
	p, closeList := openPending(t, path)
	begin(t, p, in("a", 0), in("a", 10), in("b", 0))()
	begin(t, p, in("a", 40))
	closeList()
	p, closeList = openPending(t, path)
	defer closeList()
	if p.Len() != 4 {
		t.Errorf("%d spans, want 4", p.Len())
	}
	minutes := func(from, to int) [2]int64 { return [2]int64{int64(from) * 60e9, int64(to) * 60e9} }
	if got, want := p.Ranges("a", 0, 3600e9), [][2]int64{minutes(0, 20), minutes(40, 50)}; !slices.Equal(got, want) {
		t.Errorf("ranges %v, want %v", got, want)
	}
	if got := p.Ranges("a", int64(20*time.Minute), int64(40*time.Minute)); got != nil {
		t.Errorf("between them %v", got)
	}
}

// keeper notes what it reckons.
type keeper struct {
	mu     sync.Mutex
	during func()
	err    error
	calls  [][]roll.Place
}

func (k *keeper) Reckon(_ context.Context, places []roll.Place) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.calls = append(k.calls, places)
	if k.during != nil {
		k.during()
	}
	return k.err
}

// A span is reckoned once nothing has come into it for as long as it is to settle, and
// leaves the list only if nothing came meanwhile. An error is told once, and tried again.
func TestRoller(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, closeList := openPending(t, filepath.Join(t.TempDir(), "list.db"))
		defer closeList()
		k, told := &keeper{}, &waittest.Buffer{}
		r := &roll.Roller{Pending: p, Keeper: k, Settle: 5 * time.Second, Log: slog.New(slog.NewTextHandler(told, nil))}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan bool)
		go func() { defer close(ended); r.Run(ctx) }()
		// after looks at the keeper when so much time has passed.
		after := func(d time.Duration, look func()) {
			t.Helper()
			time.Sleep(d)
			synctest.Wait()
			k.mu.Lock()
			defer k.mu.Unlock()
			look()
		}

		begin(t, p, in("a", 0), in("a", 10))()
		var under func()
		after(3*time.Second, func() { under = begin(t, p, in("a", 10)) }) // an append that takes its time
		after(10*time.Second, func() {
			if len(k.calls) != 1 || !slices.Equal(k.calls[0], []roll.Place{in("a", 0)}) || p.Len() != 1 {
				t.Errorf("reckoned %v, %d left, want the first span alone", k.calls, p.Len())
			}
			k.during = func() { begin(t, p, in("a", 10))() } // another comes as it is reckoned
		})
		under()
		after(7*time.Second, func() {
			if len(k.calls) != 2 || p.Len() != 1 {
				t.Errorf("reckoned %d times, %d left, want the second to stay", len(k.calls), p.Len())
			}
			k.during, k.err = nil, errors.New("disk on fire")
		})
		after(30*time.Second, func() {
			if n := strings.Count(told.String(), "not rolled up"); n != 1 || len(k.calls) < 4 {
				t.Errorf("told %d times of %d tries", n, len(k.calls)-2)
			}
			k.err = nil
		})
		after(10*time.Second, func() {
			if p.Len() != 0 || !strings.Contains(told.String(), "rolled up again") {
				t.Errorf("%d left, told %s", p.Len(), told.String())
			}
		})
		begin(t, p, in("b", 0))()
		if err := r.All(ctx); err != nil || p.Len() != 0 { // at once
			t.Errorf("%d left, %v", p.Len(), err)
		}
		cancel()
		<-ended
	})
}

func TestRetention(t *testing.T) {
	const day = 24 * time.Hour
	r := roll.DefaultRetention()
	if err := r.Validate(); err != nil {
		t.Error(err)
	}
	for ago, want := range map[time.Duration]string{0: "1s", 90 * day: "1s", 91 * day: "10s", 400 * day: "1m", 6 * 365 * day: "10m"} {
		if got, ok := r.Kept(ago); !ok || got.String() != want {
			t.Errorf("%s ago: %s, %v, want %s", ago, got, ok, want)
		}
	}
	if got, ok := r.Kept(21 * 365 * day); ok {
		t.Errorf("of 21 years ago %s is kept", got)
	}
	for want, bad := range map[string]roll.Retention{
		"1s: 1m0s is under 10m0s":                    {time.Minute, day, day, day},
		"1m: 24h0m0s is shorter than the 48h0m0s of": {day, 2 * day, day, day},
	} {
		if err := bad.Validate(); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%v: %v, want %s", bad, err, want)
		}
	}
}

// A file that is no tree, is damaged or ends before its pages do is one error; what a
// file has after them may go.
func TestSoundly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "list.db")
	_, closeList := openPending(t, path)
	closeList()
	db, err := roll.OpenFile(path)
	must(t, err)
	var pages int64
	err = db.View(func(tx *bolt.Tx) error {
		pages = tx.Size()
		return nil
	})
	must(t, errors.Join(err, db.Close(), os.Truncate(path, pages)))
	_, closeList = openPending(t, path)
	closeList()
	whole, err := os.ReadFile(path)
	must(t, err)
	for name, data := range map[string][]byte{
		"no tree":   []byte(strings.Repeat("tension", 10_000)),
		"one byte":  whole[:1],
		"two heads": whole[:2*os.Getpagesize()],
		"cut short": whole[:pages-1],
		"damaged":   append(slices.Clone(whole[:2*os.Getpagesize()]), make([]byte, len(whole)-2*os.Getpagesize())...),
	} {
		path := filepath.Join(t.TempDir(), "list.db")
		must(t, os.WriteFile(path, data, 0o600))
		db, err := roll.OpenFile(path)
		if err == nil {
			_, err = roll.OpenPending(db)
			db.Close()
		}
		if !errors.Is(err, roll.ErrFileDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
	other := errors.New("no space left")
	if err := roll.Soundly(func() error { return other }); !errors.Is(err, other) || errors.Is(err, roll.ErrFileDamaged) {
		t.Errorf("another error became %v", err)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
