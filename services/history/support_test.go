package history_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"

	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/batch/batchtest"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var errDisk = errors.New("no space left on device")

// journal is entries at positions from 1 and one document, in memory.
type journal struct {
	*batchtest.Journal
	save func(data string) error // nil: takes all
	load func() error            // nil: it answers

	mu    sync.Mutex
	mark  string // "" for none
	marks []string
}

func newJournal(entries ...batch.Entry) *journal { return &journal{Journal: batchtest.New(entries...)} }

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
