// Package tsdb keeps readings in files of this process, in an embedded
// Prometheus time-series database. It never talks to a network and never tells a
// good reading from a wrong one. Invariant: a channel has at most one number for a
// time, the first that came.
//
// What it adds to the database is the form of its series. Values that lie on a
// decimal grid are stored as whole numbers, which pack three times tighter, and
// come back as the very float64 that was parsed:
//
//	labels                                                   time     value
//	__name__=reading berth=B kind=tension line=7 decimals=1  Unix ms  2034    203.4 kN
//	__name__=reading berth=B kind=wind/speed decimals=none   Unix ms  7.1307  as it came
//	__name__=quality berth=B kind=tension line=7 decimals=0  Unix ms  1       reading.Bad
//
// A channel whose resolution changes goes on in a series of other decimals; a
// query puts them together. Times are cut to whole milliseconds: two readings of a
// channel in one millisecond are one time.
//
// Rolls are in a file of their own, so that they outlive the readings, and can be
// written anew when late readings come: the database cannot change what it holds.
// Readings that come later than the readings of their time are kept are refused and
// counted, so no roll is ever reckoned from a part of its readings. Where the
// retention was longer before, rolls of readings that have gone stay as they were.
//
// Files, as the database has them, one file and one folder of ours:
//
//	01J…/          a block of at least 2 h: index, chunks
//	wal/ wbl/      log of what is in no block yet: in order, out of order
//	chunks_head/   full chunks of the same
//	rolls.db       rolls, and the list of spans that wait to be rolled up
//	damaged/       what could not be read at a start, as it was found
package tsdb

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math"
	"os"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	promtsdb "github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/util/compression"
	bolt "go.etcd.io/bbolt"

	"hawser/detect/reading"
	"hawser/ingest/folder"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// Options are the settings of a Store. Only Dir is needed.
type Options struct {
	// Dir is the folder of the files, of one Store at a time.
	Dir string
	// Retention is how far behind the newest reading of the whole store readings are
	// kept, and how late they may come and still be taken, so that recordings of the past
	// can be sent in; 0 is 30 days.
	Retention time.Duration
	// Ahead is how far ahead of the clock a reading may be; 0 is one hour. One
	// reading from the far future would make everything of today too old.
	Ahead time.Duration
	// Rolls is how far behind the newest reading rolls are kept; zero is
	// roll.DefaultRetention.
	Rolls roll.Retention
	// Settle is how long nothing must have come into a span before it is rolled up; 0
	// is roll.Settle.
	Settle time.Duration
	// Now is the clock for Ahead; nil is time.Now.
	Now        func() time.Time
	Log        *slog.Logger
	Registerer prometheus.Registerer

	// Tests replace these.
	syncFile func(*os.File) error             // fsync
	free     func(dir string) (uint64, error) // folder.Free
}

func (o *Options) validate() error {
	if o.Dir == "" {
		return errors.New("store: no folder given")
	}
	if o.Retention < 0 || o.Ahead < 0 || o.Settle < 0 {
		return errors.New("store: times cannot be negative")
	}
	o.Retention = cmp.Or(o.Retention, 30*24*time.Hour)
	if o.Retention < blockSpan {
		return fmt.Errorf("store: retention %s is under %s, the span of a block", o.Retention, blockSpan)
	}
	if o.Rolls == (roll.Retention{}) {
		o.Rolls = roll.DefaultRetention()
	}
	if err := o.Rolls.Validate(); err != nil {
		return fmt.Errorf("store: retention of rolls: %w", err)
	}
	o.Ahead = cmp.Or(o.Ahead, time.Hour)
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.syncFile == nil {
		o.syncFile = (*os.File).Sync
	}
	if o.free == nil {
		o.free = folder.Free
	}
	o.Log = cmp.Or(o.Log, slog.New(slog.DiscardHandler))
	return nil
}

const (
	// blockSpan is the span of the blocks that the log is turned into. Up to 3 h of
	// readings are in the log.
	blockSpan = 2 * time.Hour
	// chunkReadings is the aim for a chunk. Measured on tension at 10 Hz: 120 gives
	// 1.89 B a reading in a block, 240 1.78, 480 1.74; over that the size of a chunk
	// (1 KiB) ends it first.
	chunkReadings = 480
)

// databaseOptions are the database's own settings, with what differs from its
// defaults.
func (o *Options) databaseOptions() *promtsdb.Options {
	d := promtsdb.DefaultOptions()
	d.RetentionDuration = o.Retention.Milliseconds()
	d.OutOfOrderTimeWindow = o.Retention.Milliseconds()
	d.OutOfOrderCapMax = 255 // the largest: recordings of the past are long
	d.MinBlockDuration = blockSpan.Milliseconds()
	// Blocks are merged up to a tenth of the retention: what is dropped at the old
	// end goes a block at a time.
	d.MaxBlockDuration = max(d.MinBlockDuration, d.RetentionDuration/10)
	d.SamplesPerChunk = chunkReadings
	// Snappy costs nothing to speak of and halves the log; zstd would take a
	// further 40 % off it for half of the speed.
	d.WALCompression = compression.Snappy
	d.WALSegmentSize = 32 << 20
	// A block is begun with this much of the disk set aside, 512 MiB by default: on a
	// disk with less left nothing was turned into blocks, and the log grew.
	d.MaxBlockChunkSegmentSize = 32 << 20
	d.StripeSize = 1 << 12 // thousands of series, not millions
	d.IsolationDisabled = true
	d.BlockReloadInterval = math.MaxInt64 // never: see mapChunks
	return d
}

// Store is the database and what this process remembers of its series.
type Store struct {
	opts      Options
	db        *promtsdb.DB
	internals *prometheus.Registry // the database's own metrics
	metrics   *metrics
	recovery  Recovery
	refill    *store.Refill

	// appending lets one append or sync at a time touch what follows; a channel,
	// since the wait for it ends with the context.
	appending chan struct{}
	writer    *writer
	touched   map[roll.Place]bool // spans of the append under way
	synced    map[string]int      // newest segment made durable, by folder
	named     bool                // the names of the folders are durable
	unsound   bool                // a sync failed

	rolls   *bolt.DB
	pending *roll.Pending
	roller  *roll.Roller
	dropped time.Time // when old rolls were last dropped; of the roller alone
	// stop ends the roller and mapChunks, and waits for them.
	stop func()

	// lifetime is held for reading by every call and for writing by Close, since
	// the database must not be closed under a reader of its mapped files. It guards
	// closed.
	lifetime sync.RWMutex
	closed   bool
}

var _ store.Store = (*Store)(nil)

// Open opens the store in a folder, making it where there is none. What is found
// damaged is set aside, and Recovery tells of it. The error is then nil: a store
// with a hole is better than none, and the journal can fill it.
func Open(o Options) (*Store, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	s := &Store{
		opts: o, appending: make(chan struct{}, 1), synced: make(map[string]int), touched: make(map[roll.Place]bool),
	}
	s.metrics = newMetrics(s)
	held, err := os.ReadDir(o.Dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("store: %w", err)
	}
	if err := os.MkdirAll(o.Dir, 0o750); err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	s.refill = store.NewRefill(o.Dir, o.Log)
	if err := s.openDatabase(); err != nil {
		return nil, fmt.Errorf("store: open %s: %w", o.Dir, err)
	}
	if err := s.openRolls(); err != nil {
		return nil, errors.Join(fmt.Errorf("store: open %s: %w", o.Dir, err), s.db.Close())
	}
	s.writer = newWriter(s)
	if err := s.metrics.register(o.Registerer); err != nil {
		return nil, errors.Join(err, s.rolls.Close(), s.db.Close())
	}
	ctx, cancel := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { s.roller.Run(ctx) })
	running.Go(func() { s.mapChunks(ctx) })
	s.stop = func() { cancel(); running.Wait() }
	// A journal outside may know a store that was in another folder.
	if len(held) == 0 || s.recovery.refill() {
		s.refill.Want()
	}
	s.refill.Opened()
	return s, nil
}

// Refill says whether the journal is to be given to the store anew.
func (s *Store) Refill() *store.Refill { return s.refill }

// Append stores one block; see store.Store.
func (s *Store) Append(ctx context.Context, berth string, block *reading.Block) error {
	return s.AppendMany(ctx, []store.Entry{{Berth: berth, Block: block}})
}

// AppendMany stores blocks with one commit for what is in order and one for what
// is late. It waits for appends under way; queries do not wait for it.
func (s *Store) AppendMany(ctx context.Context, entries []store.Entry) error {
	select {
	case s.appending <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.appending }()
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	if err := s.roomy(); err != nil {
		return err
	}
	clear(s.touched)
	from, to := s.taken()
	for _, e := range entries {
		roll.Touched(s.touched, e.Berth, e.Block, from, to)
	}
	if err := s.pending.Begin(s.touched); err != nil {
		return fmt.Errorf("store: %w", err)
	}
	defer func() { s.pending.End(s.touched, time.Now()) }()
	return s.writer.append(ctx, entries)
}

// taken is from when to when, Unix ns, readings are taken at present.
func (s *Store) taken() (from, to int64) {
	to = s.opts.Now().Add(s.opts.Ahead).UnixNano() + 1
	if newest := s.newestTime(); newest != math.MinInt64 {
		from = newest*int64(time.Millisecond) - int64(s.opts.Retention)
	}
	return from, to
}

// RollUp reckons at once the rolls that wait for their readings to settle. Queries
// give the same with and without it.
func (s *Store) RollUp(ctx context.Context) error { return s.roller.All(ctx) }

// Close ends the store. Nothing is lost without it but time at the next start.
func (s *Store) Close() error {
	s.stop()
	s.lifetime.Lock()
	defer s.lifetime.Unlock()
	if s.closed {
		return nil
	}
	s.closed = true
	s.metrics.unregister(s.opts.Registerer)
	if err := errors.Join(s.rolls.Close(), unbroken(s.db.Close)); err != nil {
		return fmt.Errorf("store: close: %w", err)
	}
	return nil
}
