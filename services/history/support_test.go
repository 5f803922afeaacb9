package history_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"

	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var errDisk = errors.New("no space left on device")

// journal is entries at positions from 1 and one document, in memory.
type journal struct {
	mu      sync.Mutex
	entries []batch.Entry
	grew    chan struct{}
	mark    string // "" for none
	marks   []string
	from    []uint64 // where each follower began

	last  func() error               // nil: it answers
	save  func(data string) error    // nil: takes all
	load  func() error               // nil: it answers
	again func(i int) []int          // entries handed over once more after this one
	broke func(e *batch.Entry) error // the journal fails before this entry
}

func newJournal(entries ...batch.Entry) *journal {
	return &journal{entries: entries, grew: make(chan struct{})}
}

func (j *journal) add(entries ...batch.Entry) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.entries = append(j.entries, entries...)
	close(j.grew)
	j.grew = make(chan struct{})
}

func (j *journal) end() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.entries) == 0 {
		return 0
	}
	return j.entries[len(j.entries)-1].Position
}

func (j *journal) Last(ctx context.Context) (uint64, error) {
	if j.last != nil {
		if err := j.last(); err != nil {
			return 0, err
		}
	}
	return j.end(), ctx.Err()
}

func (j *journal) SavePosition(_ context.Context, data []byte) error {
	if j.save != nil {
		if err := j.save(string(data)); err != nil {
			return err
		}
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.mark = string(data)
	j.marks = append(j.marks, j.mark)
	return nil
}

func (j *journal) LoadPosition(context.Context) ([]byte, bool, error) {
	if j.load != nil {
		if err := j.load(); err != nil {
			return nil, false, err
		}
	}
	return []byte(j.mark), j.mark != "", nil
}

func (j *journal) FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error {
	if last := j.end(); after > last {
		return &batch.RolledBackError{Last: last}
	}
	j.mu.Lock()
	j.from = append(j.from, after)
	j.mu.Unlock()
	for {
		j.mu.Lock()
		entries, grew := j.entries, j.grew
		j.mu.Unlock()
		for i, e := range entries {
			if e.Position <= after {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if j.broke != nil {
				if err := j.broke(&e); err != nil {
					return err
				}
			}
			which := []int{i}
			if j.again != nil {
				which = append(which, j.again(i)...)
			}
			for _, k := range which {
				if err := hand(entries[k], fn); err != nil {
					return err
				}
			}
			after = e.Position
		}
		select {
		case <-grew:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// hand gives an entry whose bytes are gone after the call.
func hand(e batch.Entry, fn func(*batch.Entry) error) error {
	e.Data, e.Refused = slices.Clone(e.Data), slices.Clone(e.Refused)
	err := fn(&e)
	clear(e.Data)
	clear(e.Refused)
	return err
}

// offer is what a pump was given: readings is -1 for a nil block.
type offer struct {
	position uint64
	berth    string
	readings int
}

// pump notes its offers. What it was given is stored at once unless it holds.
type pump struct {
	mu       sync.Mutex
	offers   []offer
	position uint64
	holds    bool
	refuse   func(position uint64) error
}

func (p *pump) Offer(ctx context.Context, position uint64, berth string, b *reading.Block) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	if p.refuse != nil {
		if err := p.refuse(position); err != nil {
			return err
		}
	}
	o := offer{position, berth, -1}
	if b != nil {
		o.readings = b.Samples()
	}
	p.offers = append(p.offers, o)
	if !p.holds {
		p.position = position
	}
	return nil
}

func (p *pump) Position() uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.position
}

func (p *pump) positions() []uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := make([]uint64, len(p.offers))
	for i, o := range p.offers {
		out[i] = o.position
	}
	return out
}

// entries are positions from one to another inclusive, three readings each in two
// columns, of two berths in turn.
func entries(t *testing.T, from, to uint64) []batch.Entry {
	t.Helper()
	tension := reading.Channel{Line: "1", Kind: reading.Tension}
	wind := reading.Channel{Kind: reading.WindSpeed}
	data, err := batch.Append(nil, &reading.Block{Sequence: 1, CompleteUntil: 3e9, Series: []reading.Series{
		{Channel: tension, Time: []int64{1e9, 2e9}, Value: []float64{88.5, 88}, Decimals: 1},
		{Channel: wind, Time: []int64{1e9}, Value: []float64{7}, Decimals: 1},
	}})
	if err != nil {
		t.Fatal(err)
	}
	var out []batch.Entry
	for p := from; p <= to; p++ {
		out = append(out, batch.Entry{Position: p, Berth: fmt.Sprintf("east-%d", p%2), Data: data})
	}
	return out
}

func count(from, to uint64) (out []uint64) {
	for p := from; p <= to; p++ {
		out = append(out, p)
	}
	return out
}

func logger(w *waittest.Buffer) *slog.Logger { return slog.New(slog.NewTextHandler(w, nil)) }
