// Package standby is the journal as the server works with it: where its disk takes
// nothing more, or its server outside does not answer, it goes on in memory, so that a
// watch is kept though nothing can be recorded, and comes back to the disk when that can
// be written again. It never looks into what it holds. Its invariant: nothing is told as
// stored that is not in the journal on disk.
//
//	        disk fails                    it can be written again
//	kept ───────────────► unkept ─────────────────────────────────► kept
//	           entries in memory, given to     records and documents held are
//	           Watch alone, never receipted    written; entries come again from
//	                                           their sources, under positions anew
//
// While it is unkept
//
//   - an entry gets a position after the last on disk and is given to who Watches;
//     its Wait says ErrUnkept, and its source is to keep it;
//   - a record gets the position that it will have on disk; it is written there
//     before anything else is;
//   - a document of a bucket to be held is held; others say ErrUnkept, as they are
//     of positions that will not last.
//
// Back on disk, whoever has seen what was in memory only is told by a
// journal.RolledBackError, as after a power cut: the sources send it again. So is
// whoever has seen what a server outside lost in one; the records and documents that it
// lost are written again, as far as they are recent. A process that ends while it is
// unkept loses what it held.
package standby

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"hawser/ingest/journal"
)

// ErrUnkept says that something is not on disk and will not be unless it is given
// again.
var ErrUnkept = errors.New("not kept: the journal takes nothing")

// Options are what a Journal works with. Journal is required.
type Options struct {
	// Journal is how the journal is opened, and opened again.
	Journal journal.Options
	// Hold names the buckets of documents that are held in memory and written later, and
	// written again to a server outside that may have lost them.
	Hold []string
	// OnBack is called when the journal is open again and what was held is on disk,
	// before anything else is taken. What anybody knows of positions after last is
	// of memory and void. An error sends the journal back into memory. It must not
	// follow the journal. nil is fine.
	OnBack func(ctx context.Context, last journal.Position) error
	// OnKept is called when entries are taken to disk again: sources that have some
	// without a receipt are to be made to send them. nil is fine.
	OnKept func()
}

// tryEvery is how often it is tried whether the journal can be written again.
const tryEvery = time.Second

// Journal is a journal and its stand-in. Safe for concurrent use, on the terms of
// journal.Journal.
type Journal struct {
	o      Options
	log    *slog.Logger
	m      *metrics
	closed chan struct{}

	running atomic.Bool   // so that there will be another stage
	seen    atomic.Uint64 // newest position anybody was given from disk
	records records

	mu      sync.Mutex
	stage   *stage
	ends    chan error                  // why the stage is to end, if it is
	outages uint64                      // how often it was unkept
	sources map[string]*source          // by key, at most maxSources
	readers map[string]bool             // that have followed, by name
	back    map[string]journal.Position // by reader: it has yet to be told that nothing after it lasts
	held    []*document                 // of the buckets to be held, the newest, oldest first
	state   State
}

// State says since when and why nothing is kept.
type State struct {
	Since time.Time // zero while all is kept
	Err   error
}

// stage is a time in which the journal is kept, or is not.
type stage struct {
	// disk is where all goes; in memory the one that failed, to read from, and nil
	// while it is opened anew.
	disk   atomic.Pointer[journal.Journal]
	memory *memory         // nil where kept
	ctx    context.Context // ends with the stage
	end    context.CancelFunc
	next   chan struct{}    // closed when another stage has begun
	last   journal.Position // the newest on disk, once the stage has ended
}

func newStage(disk *journal.Journal, m *memory) *stage {
	s := &stage{memory: m, next: make(chan struct{})}
	s.disk.Store(disk)
	s.ctx, s.end = context.WithCancel(context.Background())
	return s
}

// Open opens the journal.
func Open(ctx context.Context, o Options) (*Journal, error) {
	disk, err := journal.Open(ctx, o.Journal)
	if err != nil {
		return nil, err
	}
	last, err := disk.LastRecord(ctx)
	if err != nil {
		return nil, errors.Join(err, disk.Close())
	}
	j := &Journal{
		o: o, log: o.Journal.Log, closed: make(chan struct{}), ends: make(chan error, 1), stage: newStage(disk, nil),
		records: records{turn: make(chan struct{}, 1), disk: disk, last: last, kept: last},
		sources: map[string]*source{}, readers: map[string]bool{}, back: map[string]journal.Position{},
	}
	j.log = cmp.Or(j.log, slog.New(slog.DiscardHandler))
	j.m = newMetrics(o.Journal.Registerer, j)
	return j, nil
}

// Close closes the journal once Run has returned. What is held in memory is lost.
// Safe to call twice.
func (j *Journal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	select {
	case <-j.closed:
		return nil
	default:
	}
	close(j.closed)
	j.stage.end()
	j.m.unregister()
	if j.stage.memory != nil {
		j.log.Warn("ended while nothing was recorded: readings since are for their sources to send again, alarms since are lost", "since", j.state.Since)
	}
	if disk := j.stage.disk.Load(); disk != nil {
		return disk.Close()
	}
	return nil
}

// now is the present stage.
func (j *Journal) now() *stage {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.stage
}

// begin puts a stage in the place of the present one.
func (j *Journal) begin(next *stage, s State) {
	j.mu.Lock()
	was := j.stage
	j.stage, j.state = next, s
	select {
	case <-j.ends:
	default:
	}
	j.mu.Unlock()
	was.end()
	close(was.next)
}

// after waits for what comes after a stage.
func (j *Journal) after(ctx context.Context, st *stage) error {
	select {
	case <-st.next:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-j.closed:
		return journal.ErrClosed
	}
}

// inside reports whether the journal is on a disk of this process's own.
func (j *Journal) inside() bool { return j.o.Journal.URL == "" }

// over reports whether err, of a stage's disk, ends the stage: the next one is to be
// asked.
func (j *Journal) over(st *stage, err error) bool {
	if !j.running.Load() || st.memory != nil || !j.takesNothing(err) {
		return false
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.stage == st {
		select {
		case j.ends <- err:
		default: // it is known
		}
	}
	return true
}

// takesNothing reports whether err says that the disk has failed, or that the server
// outside does not answer or store.
func (j *Journal) takesNothing(err error) bool {
	if j.inside() {
		return errors.Is(err, journal.ErrStorage)
	}
	return errors.Is(err, journal.ErrUnavailable)
}

// State says whether what comes is kept.
func (j *Journal) State() State {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.state
}

// Recovery is what was found when the journal was opened last.
func (j *Journal) Recovery() journal.Recovery {
	if disk := j.now().disk.Load(); disk != nil {
		return disk.Recovery()
	}
	return journal.Recovery{}
}
