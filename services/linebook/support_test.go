package linebook_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect/fatigue"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planbook"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm/alarmtest"
	"hawser/services/linebook"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	errDisk = errors.New("no space left on device")
	start   = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
)

const second = int64(time.Second)

// world is all that a book reads and writes, in memory. Its fields are the test's
// while no book runs.
type world struct {
	mu      sync.Mutex
	entries []batch.Entry // positions from 1
	docs    map[string][]byte
	put     func(key string) error // nil takes all
	before  func(e *batch.Entry) error
	ropes   alarmtest.Records
	alarms  []linebook.Event
	// alarmsMissing is how many records the alarm log has and does not give.
	alarmsMissing int
	plans         map[string]*mooring.Plan
	curves        map[mooring.Material]fatigue.Curve
	every         time.Duration
	now           time.Time
}

func newWorld(plans ...*mooring.Plan) *world {
	w := &world{docs: map[string][]byte{}, plans: map[string]*mooring.Plan{}, every: time.Hour,
		now: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)}
	for i, p := range plans {
		w.plans[fmt.Sprintf("plan-%d", i)] = p
	}
	return w
}

func (w *world) Last(context.Context) (uint64, error) { return uint64(len(w.entries)), nil }

func (w *world) FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error {
	if last := uint64(len(w.entries)); after > last {
		return &batch.RolledBackError{Last: last}
	}
	for _, e := range w.entries[after:] {
		if w.before != nil {
			if err := w.before(&e); err != nil {
				return err
			}
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		time.Sleep(time.Millisecond) // of the test's clock
		e.Data = slices.Clone(e.Data)
		if err := fn(&e); err != nil {
			return err
		}
		clear(e.Data)
	}
	<-ctx.Done()
	return ctx.Err()
}

func (w *world) Put(ctx context.Context, bucket, key string, data []byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.put != nil {
		if err := w.put(key); err != nil {
			return err
		}
	}
	w.docs[bucket+"/"+key] = slices.Clone(data)
	return ctx.Err()
}

func (w *world) Get(_ context.Context, bucket, key string) ([]byte, bool, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	data, ok := w.docs[bucket+"/"+key]
	return slices.Clone(data), ok, nil
}

func (w *world) PlanByFingerprint(_ context.Context, _, fingerprint string) (*mooring.Plan, error) {
	if p := w.plans[fingerprint]; p != nil {
		return p, nil
	}
	return nil, fmt.Errorf("%w: %s", planbook.ErrDamaged, fingerprint)
}

// alarmLog is the world's alarm log.
type alarmLog struct{ *world }

func (l alarmLog) Position() uint64 { return uint64(len(l.alarms) + l.alarmsMissing) }

func (l alarmLog) Follow(ctx context.Context, after uint64, fn func(*linebook.Event) error) {
	for _, e := range l.alarms[after:] {
		for fn(&e) != nil {
			if ctx.Err() != nil {
				return
			}
		}
	}
	<-ctx.Done()
}

// book makes a book that has read nothing.
func (w *world) book(testing.TB) (*linebook.Book, error) {
	return linebook.New(linebook.Options{Journal: w, Documents: w, Records: &w.ropes, Plans: w, Alarms: alarmLog{w},
		Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry(), Curves: w.curves,
		KeepEvery: w.every, Now: func() time.Time { return w.now }})
}

func (w *world) open(t testing.TB) *linebook.Book {
	t.Helper()
	b, err := w.book(t)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Prepare(t.Context()); err != nil {
		t.Fatal(err)
	}
	return b
}

// run has a book read all there is, calls then with it, and stops it.
func (w *world) run(t *testing.T, then func(b *linebook.Book)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		b := w.open(t)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- b.Run(ctx) }()
		time.Sleep(time.Minute)
		synctest.Wait()
		if then != nil {
			then(b)
		}
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}

// list is what is told of all ships at berths.
func list(t *testing.T, b *linebook.Book, q linebook.Query) []*hawserv1.LineRecord {
	t.Helper()
	out, err := b.List(context.Background(), nil, q)
	if err != nil {
		t.Fatal(err)
	}
	return out.Lines
}

// lines reads all there is and gives the records.
func (w *world) lines(t *testing.T, q linebook.Query) (out []*hawserv1.LineRecord) {
	t.Helper()
	w.run(t, func(b *linebook.Book) { out = list(t, b, q) })
	return out
}

// newest are the newest documents of each ship, without the places they are in and
// up to where they are known to have the logs.
func (w *world) newest(t *testing.T) string {
	t.Helper()
	var out strings.Builder
	keys := slices.Sorted(maps.Keys(w.docs))
	best := map[string]string{}
	for _, k := range keys {
		name, ok := strings.CutSuffix(strings.TrimSuffix(k, "_a")+"_x", "_x")
		name = strings.TrimSuffix(name, "_b")
		if !ok || !strings.HasSuffix(k, "_a") && !strings.HasSuffix(k, "_b") {
			continue
		}
		if position(string(w.docs[k])) >= position(best[name]) {
			best[name] = string(w.docs[k])
		}
	}
	for _, name := range slices.Sorted(maps.Keys(best)) {
		if name != "lines/mark" {
			_, records, _ := strings.Cut(best[name], `"uncertain":`)
			fmt.Fprintf(&out, "%s uncertain:%s\n", name, records)
		}
	}
	return out.String()
}

// kept is the newest position of any document.
func (w *world) kept() (n uint64) {
	for _, doc := range w.docs {
		n = max(n, position(string(doc)))
	}
	return n
}

// differ tells where two texts begin to.
func differ(a, b string) string {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	from := max(0, i-150)
	return fmt.Sprintf("at byte %d:\n…%s\n…%s", i, a[from:min(len(a), i+100)], b[from:min(len(b), i+100)])
}

// position finds "position":N in a document, 0 where there is none.
func position(doc string) (n uint64) {
	if _, rest, ok := strings.Cut(doc, `"position":`); ok {
		_, _ = fmt.Sscan(strings.FieldsFunc(rest, func(r rune) bool { return r == ',' || r == '}' })[0], &n)
	}
	return n
}

// aPlan is a ship of some lines of 1,000 kN polyester.
func aPlan(berth, ship string, lines ...mooring.Line) *mooring.Plan {
	p := &mooring.Plan{Berth: berth, Ship: mooring.Ship{Name: ship}, Limits: mooring.DefaultLimits(), Lines: lines}
	for i := range p.Lines {
		p.Lines[i].Group, p.Lines[i].Material, p.Lines[i].MBLkN = mooring.Head, mooring.Polyester, 1000
	}
	return p
}

// series is readings a step apart from a second after the start on.
func series(line string, kind reading.Kind, from, step float64, values ...float64) reading.Series {
	s := reading.Series{Channel: reading.Channel{Line: line, Kind: kind}, Decimals: -1}
	for i, v := range values {
		s.Time = append(s.Time, start+int64((from+float64(i)*step)*1e9))
		s.Value = append(s.Value, v)
	}
	return s
}

// add puts a batch in the journal.
func (w *world) add(t testing.TB, plan int, all ...reading.Series) {
	t.Helper()
	fingerprint := fmt.Sprintf("plan-%d", plan)
	data, err := batch.Append(nil, &reading.Block{Sequence: 1, CompleteUntil: start, Series: all})
	if err != nil {
		t.Fatal(err)
	}
	berth := "nowhere"
	if p := w.plans[fingerprint]; p != nil {
		berth = p.Berth
	}
	w.entries = append(w.entries, batch.Entry{Position: uint64(len(w.entries) + 1), Berth: berth, Plan: fingerprint, Data: data})
}
