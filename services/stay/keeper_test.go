package stay_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/services/stay"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// journal is entries from position 1 and documents, in memory.
type journal struct {
	mu        sync.Mutex
	entries   []stay.Entry
	documents map[string][]byte
	position  uint64
}

func (j *journal) FollowStays(ctx context.Context, after uint64, fn func(*stay.Entry) error) error {
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

// ships fails for "away" the first time, and for ever for "lost".
type ships struct{ asked map[string]int }

func (s ships) Ship(_ context.Context, _, plan string) (string, error) {
	s.asked[plan]++
	switch {
	case plan == "lost":
		return "", fmt.Errorf("%w: gone", stay.ErrPlanLost)
	case plan == "away" && s.asked[plan] == 1:
		return "", errors.New("does not answer")
	}
	return "Ship of " + plan, nil
}

// A plan that cannot be read just now is asked for again, one that is lost is passed
// over; a keeper that is started anew begins where the last one ended, and knows what
// it knew.
func TestKeeper(t *testing.T) {
	j := &journal{documents: map[string][]byte{}}
	for k, plan := range []string{"a", "away", "lost", "b"} {
		from := at(float64(10 * k)).UnixNano()
		data, err := batch.Append(nil, &reading.Block{Sequence: 1, CompleteUntil: from + 2e9, Series: []reading.Series{
			{Channel: reading.Channel{Line: "1", Kind: reading.Tension}, Time: []int64{from, from + 1e9}, Value: []float64{80, 81}, Decimals: 1}}})
		if err != nil {
			t.Fatal(err)
		}
		j.entries = append(j.entries, stay.Entry{Position: uint64(k + 1), Berth: "east-3", Plan: plan, Data: data})
	}
	run := func(asked map[string]int) []stay.Stay {
		k, err := stay.New(stay.Options{Journal: j, Ships: ships{asked}, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return at(31) }})
		if err != nil {
			t.Fatal(err)
		}
		if err := k.Prepare(t.Context()); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- k.Run(ctx) }()
		look := time.NewTicker(5 * time.Millisecond)
		defer look.Stop()
		for deadline := time.Now().Add(30 * time.Second); len(k.List("")) < 3 && time.Now().Before(deadline); {
			<-look.C
		}
		cancel()
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
		return k.List("")
	}
	check := func(stays []stay.Stay) {
		t.Helper()
		if len(stays) != 3 || stays[0].Ship != "Ship of b" || stays[1].Ship != "Ship of away" || stays[2].Ship != "Ship of a" {
			t.Errorf("stays: %+v", stays)
		}
	}
	check(run(map[string]int{}))
	asked := map[string]int{}
	check(run(asked))
	if j.position != 4 || len(asked) != 0 {
		t.Errorf("kept up to %d, asked again for %v", j.position, asked)
	}
}
