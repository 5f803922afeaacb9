package standby

import (
	"context"
	"sync"
	"time"

	"hawser/ingest/journal"
)

// What memory holds at most; above it the oldest entries go, which only a watcher
// that starts again would still have wanted.
const (
	memoryBytes   = 64 << 20
	memorySources = 16384
	entryOverhead = 256 // about what an entry takes beside its data, bytes
)

// memory is the entries that came after base while nothing is kept.
type memory struct {
	base     journal.Position
	watchers sync.WaitGroup

	mu      sync.Mutex
	entries []*journal.Entry // with positions up to last, without a hole
	last    journal.Position
	bytes   int
	newest  map[string]uint64 // sequence, by key of the source
	grew    chan struct{}     // closed when there is another entry
}

func newMemory(base journal.Position) *memory {
	return &memory{base: base, last: base, newest: map[string]uint64{}, grew: make(chan struct{})}
}

// add takes an entry and reports whether it did: one that has come before changes
// nothing, nor does one of a source that there is no room to know. The entry's data
// is the memory's from then on.
func (m *memory) add(e *journal.Entry) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	k := key(e.Berth, e.Source)
	newest, known := m.newest[k]
	if e.SourceSequence <= newest || !known && len(m.newest) >= memorySources {
		return false
	}
	m.newest[k] = e.SourceSequence
	m.last++
	taken := *e
	taken.Position, taken.Stored = m.last, time.Now().UTC()
	m.entries = append(m.entries, &taken)
	m.bytes += len(taken.Data) + entryOverhead
	for m.bytes > memoryBytes {
		m.bytes -= len(m.entries[0].Data) + entryOverhead
		m.entries[0] = nil
		m.entries = m.entries[1:]
	}
	close(m.grew)
	m.grew = make(chan struct{})
	return true
}

// next is the first entry after a position that is still held, nil where there is
// none yet; then grew is closed when there is.
func (m *memory) next(pos journal.Position) (e *journal.Entry, grew <-chan struct{}) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if pos >= m.last || len(m.entries) == 0 {
		return nil, m.grew
	}
	first := m.last + 1 - journal.Position(len(m.entries))
	return m.entries[max(pos+1, first)-first], nil
}

// follow gives a berth's entries after a position to handle until ctx ends or handle
// fails, and returns up to where it came.
func (m *memory) follow(ctx context.Context, berth string, pos journal.Position, handle func(*journal.Entry) error) (journal.Position, error) {
	for {
		e, grew := m.next(pos)
		if e == nil {
			select {
			case <-grew:
				continue
			case <-ctx.Done():
				return pos, ctx.Err()
			}
		}
		if ctx.Err() != nil {
			return pos, ctx.Err()
		}
		if berth == "" || e.Berth == berth {
			out := *e
			if err := handle(&out); err != nil {
				return pos, err
			}
		}
		pos = e.Position
	}
}

// held is about how much memory it takes, bytes.
func (m *memory) held() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.bytes
}

func (m *memory) end() journal.Position {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.last
}
