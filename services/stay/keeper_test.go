package stay_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planbook"
	"hawser/services/stay"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// journal is entries from position 1 and documents, in memory.
type journal struct {
	mu        sync.Mutex
	entries   []batch.Entry
	documents map[string][]byte
	position  uint64
}

func (j *journal) FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error {
	for _, e := range j.entries {
		if e.Position > after {
			if err := fn(&e); err != nil {
				return err
			}
		}
	}
	<-ctx.Done()
	return ctx.Err()
}

func (j *journal) SaveStays(_ context.Context, berth string, data []byte) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.documents[berth] = data
	return nil
}

func (j *journal) LoadStays(context.Context) (map[string][]byte, error) { return j.documents, nil }

func (j *journal) SavePosition(_ context.Context, position uint64) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.position = position
	return nil
}

func (j *journal) LoadPosition(context.Context) (uint64, error) { return j.position, nil }

func (j *journal) Last(context.Context) (uint64, error) { return uint64(len(j.entries)), nil }

// plans fail for "away" the first time, and for ever for "lost".
type plans map[string]int // how often each was asked for

func (p plans) PlanByFingerprint(_ context.Context, _, plan string) (*mooring.Plan, error) {
	p[plan]++
	switch {
	case plan == "lost":
		return nil, fmt.Errorf("%w: gone", planbook.ErrDamaged)
	case plan == "away" && p[plan] == 1:
		return nil, errors.New("does not answer")
	}
	return &mooring.Plan{Ship: mooring.Ship{Name: "Ship of " + plan}}, nil
}

// add puts two readings, taken in under a plan, in the journal.
func (j *journal) add(t *testing.T, hours float64, plan string) {
	t.Helper()
	from := at(hours).UnixNano()
	data, err := batch.Append(nil, &reading.Block{Sequence: 1, CompleteUntil: from + 2e9, Series: []reading.Series{
		{Channel: reading.Channel{Line: "1", Kind: reading.Tension}, Time: []int64{from, from + 1e9}, Value: []float64{80, 81}, Decimals: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	j.entries = append(j.entries, batch.Entry{Position: uint64(len(j.entries) + 1), Berth: "east-3", Plan: plan, Data: data})
}

// ships runs a keeper over all there is and gives the ships of its stays, newest
// first; prepared is called between its Prepare and its Run.
func (j *journal) ships(t *testing.T, p plans, prepared func()) (out []string) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		k, err := stay.New(stay.Options{Journal: j, Plans: p, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return at(31) }})
		if err != nil {
			t.Fatal(err)
		}
		if err := k.Prepare(t.Context()); err != nil {
			t.Fatal(err)
		}
		prepared()
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- k.Run(ctx) }()
		time.Sleep(time.Minute) // of the test's clock
		cancel()
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
		for _, s := range k.List("") {
			out = append(out, s.Ship)
		}
	})
	return out
}

// A plan that cannot be read just now is asked for again, one that is lost is passed
// over; a keeper that is started anew begins where the last one ended, and knows what
// it knew.
func TestKeeper(t *testing.T) {
	j := &journal{documents: map[string][]byte{}}
	for k, plan := range []string{"a", "away", "lost", "b"} {
		j.add(t, float64(10*k), plan)
	}
	want := []string{"Ship of b", "Ship of away", "Ship of a"}
	if got := j.ships(t, plans{}, func() {}); !slices.Equal(got, want) {
		t.Errorf("stays of %q", got)
	}
	again := plans{}
	if got := j.ships(t, again, func() {}); !slices.Equal(got, want) || j.position != 4 || len(again) != 0 {
		t.Errorf("stays of %q, kept up to %d, asked again for %v", got, j.position, again)
	}
}

// Where the journal has lost its end, what comes in its place is folded, also where
// that has grown past it before the keeper reads on.
func TestKeeperOfAJournalThatLostItsEnd(t *testing.T) {
	j := &journal{documents: map[string][]byte{}}
	j.add(t, 0, "a")
	j.add(t, 10, "b")
	j.ships(t, plans{}, func() {})
	j.entries = j.entries[:1]
	got := j.ships(t, plans{}, func() {
		j.add(t, 20, "c")
		j.add(t, 30, "d")
	})
	if want := []string{"Ship of d", "Ship of c", "Ship of b", "Ship of a"}; !slices.Equal(got, want) || j.position != 3 {
		t.Errorf("stays of %q, kept up to %d", got, j.position)
	}
}
