// Package alarm keeps the alarms: what was raised, cleared and acknowledged, by
// what or whom, when and why. It never decides what is wrong, only whether many
// alarms of one cause call people once (PinsSilent, PinsStill). Its invariant: the
// state is the fold of the log, whenever and however often it is folded.
//
//	changes ─┐
//	own ─────┼─► one writer ─► log (append-only) ─► fold ─► state ─► lists, metrics
//	people ──┘                  │                    └─► tail of the log, in memory
//	                            └── a watcher that fell behind ──► watchers
//
// An entry of the log is a hawser.v1.AlarmRecord, serialised, without its
// position, which the log gives. One process writes a log.
//
// A change of a berth carries the journal position of the readings behind it and
// its index among the changes they made. What is at or before the newest applied
// of its berth is a repeat and ignored. Where the journal itself went back, as
// after a power cut, Rewind puts that guard back too; what then comes again is
// told by state alone: a raise of what is active and a clear of what is not
// change nothing, nor does a raise at the very time of one that the lost readings
// raised and cleared. What they tell at another time is told again: better twice
// than not.
package alarm

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
)

// Records is an append-only log of small records with positions that rise from
// 1. Safe for concurrent use.
type Records interface {
	// AppendRecord returns once the record is kept as durably as the log promises.
	// After an error the record may be there all the same.
	AppendRecord(ctx context.Context, log string, data []byte) (uint64, error)
	// ReadRecords hands over every record after a position, in order, up to the
	// present end. data is valid only in the call.
	ReadRecords(ctx context.Context, log string, after uint64, fn func(position uint64, data []byte) error) error
}

// Options are what a Log needs. Records, Logger and Registerer are required.
type Options struct {
	Records    Records
	Logger     *slog.Logger
	Registerer prometheus.Registerer
	// Name of the log within Records; empty means "alarms".
	Name string
	// KeepCleared is how many cleared alarms stay in memory, the newest; 0 means
	// 1,000. The log keeps all.
	KeepCleared int
	// Escalate says by priority how long after people were called to an alarm it is
	// escalated for want of an acknowledgement, in rising steps. Nil means 1 and
	// 5 min for an emergency, 5 and 15 min for an alarm, never for the others.
	Escalate map[detect.Priority][]time.Duration
	// Pins gives a berth's load pins by its plan in force, none where there is no plan:
	// by line, the source that last sent its load, empty for none yet. While Apply and
	// Reconcile are called it is as of their journal position. Nil suppresses nothing.
	Pins func(berth string) map[string]string
	// Unheard and Clocks are the server's own conditions by which load pins fall
	// silent: that of a berth which is heard no more, and those of sources' clocks.
	Unheard string
	Clocks  []string
	// Now is the clock for what people do and the server's own conditions; nil means
	// the system's.
	Now func() time.Time
}

func (o *Options) validate() error {
	if o.Records == nil || o.Logger == nil || o.Registerer == nil {
		return errors.New("alarm: Records, Logger and Registerer are required")
	}
	if o.KeepCleared < 0 {
		return fmt.Errorf("alarm: KeepCleared is %d, want 0 or more", o.KeepCleared)
	}
	if o.Name == "" {
		o.Name = "alarms"
	}
	if o.KeepCleared == 0 {
		o.KeepCleared = 1000
	}
	if o.Escalate == nil {
		o.Escalate = defaultEscalation()
	}
	for p, steps := range o.Escalate {
		if !slices.IsSorted(steps) || len(steps) > 0 && steps[0] <= 0 {
			return fmt.Errorf("alarm: escalation of %s after %v: want rising times above zero", p, steps)
		}
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return nil
}

// tailKept is how many of the newest records watchers read from memory.
const tailKept = 1024

// Log is the alarm log and its fold. Safe for concurrent use.
type Log struct {
	o Options
	m *metrics

	// writer is held by the one call that may append and fold. Its holder reads
	// the fields below without mu and changes them under it.
	writer chan struct{}
	behind bool // the log may hold records that are not folded yet
	opened time.Time

	mu      sync.RWMutex
	fold    fold
	tail    tail
	changed chan struct{} // closed when a record is folded

	unwatched   chan struct{} // closed by EndWatches
	unwatchOnce sync.Once
	done        chan struct{} // closed by Close
	closeOnce   sync.Once
	watchers    sync.WaitGroup
}

// ErrClosed says that the log is closed.
var ErrClosed = errors.New("alarm log is closed")

// Open folds the whole log.
func Open(ctx context.Context, o Options) (*Log, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	l := &Log{
		o: o, writer: make(chan struct{}, 1), fold: newFold(o.KeepCleared),
		tail: newTail(tailKept), changed: make(chan struct{}),
		unwatched: make(chan struct{}), done: make(chan struct{}), opened: o.Now(),
	}
	l.m = newMetrics(o.Registerer, l)
	l.writer <- struct{}{}
	defer func() { <-l.writer }()
	if err := l.catchUp(ctx); err != nil {
		l.m.unregister()
		return nil, fmt.Errorf("open: %w", err)
	}
	return l, nil
}

// EndWatches ends every watch and lets none begin; changes are still taken. It
// is for a server that lets its clients go before it stops. Safe to call twice.
func (l *Log) EndWatches() {
	l.unwatchOnce.Do(func() {
		l.mu.Lock()
		close(l.unwatched)
		l.mu.Unlock()
	})
}

// Close ends every watch, waits for what is under way and takes no more. Safe to
// call twice.
func (l *Log) Close() error {
	l.EndWatches()
	l.closeOnce.Do(func() {
		l.mu.Lock()
		close(l.done)
		l.mu.Unlock()
		l.writer <- struct{}{} // kept: nothing is written after this
		l.watchers.Wait()
		l.m.unregister()
	})
	return nil
}

// Position is the position of the log that the state is the fold of.
func (l *Log) Position() uint64 {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.fold.position
}

// Applied is the journal position of a berth's newest applied change, 0 for none.
func (l *Log) Applied(berth string) uint64 {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.fold.marks[berth].position
}

// Reached is the highest journal position that was ever applied for a berth, 0 for
// none. Where it is past Applied the journal has lost what came after that.
func (l *Log) Reached(berth string) uint64 {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.fold.reached[berth]
}

// List gives the alarms of a berth, or of all for "": the active ones, worst
// first, then, if asked for, those cleared and still in memory, newest first.
// The position is that of the log they are the fold of.
func (l *Log) List(berth string, cleared bool) (alarms []State, position uint64) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.fold.list(berth, cleared), l.fold.position
}

// Find gives the alarm of an id, active or cleared, while it is in memory.
func (l *Log) Find(id string) (State, bool) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	s := l.fold.byID[id]
	if s == nil {
		return State{}, false
	}
	return *s, true
}

// Holds gives what is on a shelf or out of service at a berth, or at all for "",
// oldest first.
func (l *Log) Holds(berth string) []Hold {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.fold.held(berth)
}
