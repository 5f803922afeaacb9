package journal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Journal is an open journal. Its methods are safe for concurrent use; the
// entries of one source are to come from one caller at a time.
type Journal struct {
	o   Options
	m   *metrics
	log *slog.Logger

	ctx    context.Context // ends when Close begins
	cancel context.CancelFunc
	wg     sync.WaitGroup // watch, pub.expire

	// The three of the journal inside the process.
	lock *flock.Flock
	ns   *server.Server
	mark *markFile

	// Two connections, so that a follower catching up does not hold up
	// acknowledgements.
	pubConn, readConn             *nats.Conn
	js                            jetstream.JetStream
	telemetry, documents, records jetstream.Stream

	pub                                     *publisher
	telemetrySync, documentSync, recordSync *syncer
	telemetryTail, recordTail               *tail
	onDisk                                  mark // by telemetrySync, and Open and Close

	epoch   epoch // of readConn
	lanes   lanes
	pages   *pages
	readers readers

	recovery Recovery
	owner    *owner // nil where it is nobody's
	fences   fences

	mu        sync.Mutex
	failure   error // why nothing more is taken
	failed    chan struct{}
	closeOnce sync.Once
	closeErr  error
}

// Open opens the journal, starting the server inside the process if no URL is
// given, and makes what is missing. ctx bounds the opening only. After a kill the
// server reads all it holds before Open returns, about a second for each GiB.
func Open(ctx context.Context, o Options) (_ *Journal, err error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	o.setDefaults()
	j := &Journal{o: o, log: o.Log, lanes: lanes{m: make(map[string]*lane)}, failed: make(chan struct{})}
	j.ctx, j.cancel = context.WithCancel(context.Background())
	if j.m, err = newMetrics(o.Registerer); err != nil {
		j.cancel()
		return nil, fmt.Errorf("journal: metrics: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("journal: open: %w", err), j.Close())
		}
	}()
	serverLog := &serverLog{log: o.Log, keeping: true}
	if j.embedded() {
		if err := j.startInside(serverLog); err != nil {
			return nil, err
		}
	}
	if err := j.connect(); err != nil {
		return nil, err
	}
	if err := j.openStreams(ctx); err != nil {
		return nil, err
	}
	if err := j.own(ctx); err != nil {
		return nil, err
	}
	if err := j.openSyncers(ctx, serverLog); err != nil {
		return nil, err
	}
	serverLog.tell(func(err error) { j.fail(err) })
	j.pages = newPages(j)
	j.wg.Go(j.watch)
	j.wg.Go(func() { j.pub.expire(o.ackTimeout) })
	return j, nil
}

func (j *Journal) embedded() bool { return j.o.URL == "" }

// startInside takes the folder and starts the server on it.
func (j *Journal) startInside(log *serverLog) (err error) {
	if err = os.MkdirAll(j.o.Dir, 0o755); err != nil {
		return err
	}
	if j.lock, err = lockDir(j.o.Dir); err != nil {
		return err
	}
	if j.mark, j.onDisk, err = openMark(j.o.Dir); err != nil {
		return err
	}
	j.recovery = Recovery{OnDisk: j.onDisk.position, InOrder: j.onDisk.shut}
	j.ns, err = startServer(j.o.Dir, log)
	return err
}

// openSyncers decides what a message waits for after its acknowledgement.
func (j *Journal) openSyncers(ctx context.Context, log *serverLog) (err error) {
	complete := func(ws []*Pending) {
		for _, w := range ws {
			j.pub.complete(w, nil)
		}
	}
	drop := func(w *Pending, err error) { j.pub.complete(w, err) }
	j.telemetrySync = &syncer{j: j, every: j.o.SyncEvery, done: j.stored, drop: drop}
	j.documentSync = &syncer{j: j, every: j.o.SyncEvery, done: complete, drop: drop}
	// Records are few and somebody waits for each: an alarm is told when it is on
	// disk. So they are synced at once, not in step with the telemetry.
	j.recordSync = &syncer{j: j, every: min(j.o.SyncEvery, time.Millisecond), done: complete, drop: drop}
	if !j.embedded() {
		return nil
	}
	if j.telemetryTail, err = openTail(j.blocks(telemetryStream), j.onDisk.block, j.o.syncFile); err != nil {
		return err
	}
	if j.recordTail, err = openTail(j.blocks(recordStream), 0, j.o.syncFile); err != nil {
		return err
	}
	documents := &whole{dir: j.blocks(documentStream), syncFile: j.o.syncFile}
	// What a killed process left, and the folders that may be new, are put on disk
	// before anything is said of them.
	errs := []error{j.telemetryTail.flush(), j.recordTail.flush(), documents.flush()}
	for _, stream := range []string{telemetryStream, documentStream, recordStream} {
		errs = append(errs, syncDirs(j.blocks(stream), j.o.Dir, j.o.syncFile))
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("%w: sync: %w", ErrStorage, err)
	}
	if err := j.recover(ctx, log); err != nil {
		return err
	}
	if j.o.SyncEvery >= 0 {
		j.telemetrySync.flush, j.telemetrySync.mark = j.telemetryTail.flush, j.noteOnDisk
		j.documentSync.flush = documents.flush
		j.recordSync.flush = j.recordTail.flush
	}
	for _, s := range j.syncers() {
		s.start()
	}
	return nil
}

func (j *Journal) blocks(stream string) string {
	return filepath.Join(j.o.Dir, "jetstream", server.DEFAULT_GLOBAL_ACCOUNT, "streams", stream, "msgs")
}

func (j *Journal) syncers() []*syncer {
	return []*syncer{j.telemetrySync, j.documentSync, j.recordSync}
}

// noteOnDisk writes the mark after a sync.
func (j *Journal) noteOnDisk(newest Position) {
	j.onDisk.position = max(j.onDisk.position, newest)
	j.onDisk.block = j.telemetryTail.block
	if err := j.mark.write(j.onDisk); err != nil {
		j.log.Warn("journal mark", "err", err) // costs only Recovery's exactness
	}
}

// Close stores what is on the way, waiting at most a second for it, and stops
// the server inside the process. Followers end with ErrClosed; their handlers
// are not waited for. Safe to call twice.
func (j *Journal) Close() error {
	j.closeOnce.Do(func() { j.closeErr = j.shut() })
	return j.closeErr
}

// shut undoes Open in reverse, each part only if it was reached.
func (j *Journal) shut() error {
	if j.pub != nil {
		j.pub.drain(time.Second)
	}
	if j.owner != nil {
		j.owner.end()
	}
	j.cancel()
	if j.pub != nil {
		j.pub.abandon(ErrClosed, true)
	}
	j.wg.Wait()
	if j.pages != nil {
		j.pages.close()
	}
	j.epoch.next()
	if j.telemetrySync != nil && j.telemetrySync.stop != nil {
		for _, s := range j.syncers() {
			s.close()
		}
	}
	for _, nc := range []*nats.Conn{j.pubConn, j.readConn} {
		if nc != nil {
			nc.Close()
		}
	}
	var errs []error
	if j.ns != nil {
		j.ns.Shutdown()
		j.ns.WaitForShutdown()
		if j.failureOf() != nil {
			errs = append(errs, forgetUnwritten(j.blocks(telemetryStream), true), forgetUnwritten(j.blocks(recordStream), false))
		}
	}
	for _, t := range []*tail{j.telemetryTail, j.recordTail} {
		if t != nil {
			if j.failureOf() == nil {
				errs = append(errs, t.flush())
			}
			t.close()
		}
	}
	if j.mark != nil {
		// After a failure the mark stays as the last good sync left it.
		j.onDisk.shut = j.pages != nil && j.failureOf() == nil
		errs = append(errs, j.mark.close(j.onDisk))
	}
	if j.lock != nil {
		errs = append(errs, j.lock.Close())
	}
	j.m.unregister()
	return errors.Join(errs...)
}

// Bounds is the oldest and the newest position held; first is last+1 when
// nothing is. A position a caller remembers that is past last was rolled back
// (RolledBackError).
func (j *Journal) Bounds(ctx context.Context) (first, last Position, err error) {
	info, err := j.telemetry.Info(ctx)
	if err != nil {
		return 0, 0, j.readError(err)
	}
	first, last = bounds(info.State)
	return first, last, nil
}

func bounds(s jetstream.StreamState) (first, last Position) {
	if s.Msgs == 0 {
		return Position(s.LastSeq) + 1, Position(s.LastSeq)
	}
	return Position(s.FirstSeq), Position(s.LastSeq)
}

// Berths lists the berths of which the journal holds entries, sorted.
func (j *Journal) Berths(ctx context.Context) ([]string, error) {
	subjects, err := j.subjects(ctx, j.telemetry, telemetryPrefix+">")
	if err != nil {
		return nil, err
	}
	var berths []string
	for _, s := range subjects {
		berth, _, _ := strings.Cut(strings.TrimPrefix(s, telemetryPrefix), ".")
		berths = append(berths, berth)
	}
	return slices.Compact(berths), nil
}

// subjects lists the subjects of which a stream holds messages, sorted.
func (j *Journal) subjects(ctx context.Context, s jetstream.Stream, filter string) ([]string, error) {
	info, err := s.Info(ctx, jetstream.WithSubjectFilter(filter))
	if err != nil {
		return nil, j.readError(err)
	}
	names := make([]string, 0, len(info.State.Subjects))
	for name := range info.State.Subjects {
		names = append(names, name)
	}
	slices.Sort(names)
	return names, nil
}
