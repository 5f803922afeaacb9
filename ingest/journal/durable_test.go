package journal_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/ingest/journal"
	"hawser/services/waittest"
)

// disk stands in for fsync: it can be held up, and it can fail.
type disk struct {
	hold  atomic.Pointer[chan struct{}]
	fault atomic.Pointer[error]
	once  atomic.Bool // the fault passes
	syncs atomic.Int64
	begun chan struct{} // holds one when a sync is held up
}

func (d *disk) sync(f *os.File) error {
	if hold := d.hold.Load(); hold != nil {
		select {
		case d.begun <- struct{}{}:
		default:
		}
		<-*hold
	}
	if fault := d.fault.Load(); fault != nil {
		if d.once.Load() {
			d.fault.Store(nil)
		}
		return *fault
	}
	d.syncs.Add(1)
	return f.Sync()
}

// holdUp holds up every sync from the next on until release is called. What is held up
// already goes on by the release of its own.
func (d *disk) holdUp() (release func()) {
	hold := make(chan struct{})
	d.hold.Store(&hold)
	return func() {
		d.hold.CompareAndSwap(&hold, nil)
		close(hold)
	}
}

func (d *disk) fail(err error) { d.fault.Store(&err) }
func (d *disk) mend()          { d.fault.Store(nil) }

func inside(t *testing.T) (*place, *disk) {
	d := &disk{begun: make(chan struct{}, 1)}
	p := &place{t: t, o: journal.Options{Dir: t.TempDir(), SyncEvery: time.Millisecond}}
	p.o.ReplaceSync(d.sync)
	return p, d
}

// waits reports whether Wait is still waiting.
func waits(p *journal.Pending) bool {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := p.Wait(ctx)
	return errors.Is(err, context.Canceled)
}

func TestReceiptFollowsTheDisk(t *testing.T) {
	p, d := inside(t)
	j := p.open()
	release := d.holdUp()
	first := mustAppend(t, j, entry("jetty-1", "gw", 1))
	<-d.begun
	// The second is acknowledged while the sync of the first is held up: a
	// follower sees it. The sync that runs is no proof for it.
	second := mustAppend(t, j, entry("jetty-1", "gw", 2))
	collect(t, j, journal.FollowOptions{}, 2)
	repeated := mustAppend(t, j, entry("jetty-1", "gw", 1))
	if !waits(first) || !waits(second) || !waits(repeated) {
		t.Fatal("an entry counts as stored before its sync")
	}
	asked := make(chan uint64, 1)
	go func() {
		n, err := j.LastSequence(context.Background(), "jetty-1", "gw")
		if err != nil {
			t.Error(err)
		}
		asked <- n
	}()

	next := d.holdUp()
	release()
	if pos, err := first.Wait(t.Context()); pos != 1 || err != nil {
		t.Errorf("first: %d, %v", pos, err)
	}
	<-d.begun
	if !waits(second) {
		t.Error("the second counts as stored by a sync that began before it was written")
	}
	select {
	case n := <-asked:
		t.Errorf("last sequence %d said before it was on disk", n)
	default:
	}
	next()
	if pos, err := second.Wait(t.Context()); pos != 2 || err != nil {
		t.Errorf("second: %d, %v", pos, err)
	}
	if n := <-asked; n != 2 {
		t.Errorf("last sequence %d, want 2", n)
	}
}

func TestAppendWaitsForRoom(t *testing.T) {
	p, d := inside(t)
	j := p.open()
	release := d.holdUp()
	full, cancel := context.WithCancel(t.Context())
	defer cancel()
	ways := make(chan *journal.Pending, 5000)
	refused := make(chan error, 1)
	go func() {
		for seq := uint64(1); ; seq++ {
			w, err := j.Append(full, entry("jetty-1", "gw", seq))
			if err != nil {
				refused <- err
				return
			}
			ways <- w
		}
	}()
	// 64 MiB at 16 KiB at least for each are 4,096.
	waittest.True(t, "room used up", func() bool { return len(ways) >= 4096 })
	cancel()
	if err := <-refused; !errors.Is(err, context.Canceled) {
		t.Errorf("append without room: %v", err)
	}
	if n := len(ways); n != 4096 {
		t.Errorf("%d entries on the way, want 4096", n)
	}
	release()
	close(ways)
	for w := range ways {
		stored(t, w)
	}
	appendMany(t, j, "jetty-1", 4097, 4100)
}

func TestOneSyncServesMany(t *testing.T) {
	p, d := inside(t)
	j := p.open()
	release := d.holdUp()
	last := mustAppend(t, j, entry("jetty-1", "gw", 1))
	<-d.begun
	for seq := uint64(2); seq <= 500; seq++ {
		last = mustAppend(t, j, entry("jetty-1", "gw", seq))
	}
	collect(t, j, journal.FollowOptions{}, 500) // all acknowledged
	before := d.syncs.Load()
	release()
	stored(t, last)
	if n := d.syncs.Load() - before; n != 2 {
		t.Errorf("%d syncs for 1 + 499 entries, want 2", n)
	}
}

func TestFailedSyncIsToldAndLasts(t *testing.T) {
	reg := prometheus.NewRegistry()
	p, d := inside(t)
	p.o.Registerer = reg
	j := p.open()
	appendOne(t, j, entry("jetty-1", "gw", 1))
	d.fail(syscall.EIO)
	w := mustAppend(t, j, entry("jetty-1", "gw", 2))
	if _, err := w.Wait(t.Context()); !errors.Is(err, journal.ErrStorage) || !errors.Is(err, syscall.EIO) {
		t.Errorf("wait: %v", err)
	}
	<-j.Failed()
	d.mend() // a sync that succeeds afterwards would prove nothing
	if _, err := j.Append(t.Context(), entry("jetty-2", "gw", 1)); !errors.Is(err, journal.ErrStorage) {
		t.Errorf("append: %v", err)
	}
	if err := j.Put(t.Context(), "b", "k", nil); !errors.Is(err, journal.ErrStorage) {
		t.Errorf("put: %v", err)
	}
	if _, err := j.LastSequence(t.Context(), "jetty-1", "gw"); !errors.Is(err, journal.ErrStorage) {
		t.Errorf("last sequence: %v", err)
	}
	if v := waittest.Metric(t, reg, "hawser_journal_failed"); v != 1 {
		t.Errorf("failed gauge is %v", v)
	}
	if v := waittest.Metric(t, reg, "hawser_journal_in_flight_batches"); v != 0 {
		t.Errorf("%v in flight after the failure", v)
	}
	collect(t, j, journal.FollowOptions{}, 2) // reading goes on
	closeJournal(t, j)

	j = p.open()
	if r := j.Recovery(); r.OnDisk != 1 || r.InOrder || r.Damaged() {
		t.Errorf("recovery %+v, want on disk 1 and not closed in order", r)
	}
	appendMany(t, j, "jetty-1", 1, 3)
}

// An entry acknowledged while a sync is failing is not stored by the next one.
func TestNoReceiptAfterFailedSync(t *testing.T) {
	p, d := inside(t)
	j := p.open()
	release := d.holdUp()
	first := mustAppend(t, j, entry("jetty-1", "gw", 1))
	<-d.begun
	second := mustAppend(t, j, entry("jetty-2", "gw", 1))
	collect(t, j, journal.FollowOptions{}, 2) // both acknowledged
	d.once.Store(true)
	d.fail(syscall.EIO)
	release()
	for _, w := range []*journal.Pending{first, second} {
		if _, err := w.Wait(t.Context()); !errors.Is(err, journal.ErrStorage) {
			t.Errorf("wait: %v", err)
		}
	}
}

func TestFailedSyncAtOpen(t *testing.T) {
	p, d := inside(t)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 1)
	closeJournal(t, j)
	d.fail(syscall.EIO)
	if _, err := journal.Open(t.Context(), p.o); !errors.Is(err, journal.ErrStorage) || !errors.Is(err, syscall.EIO) {
		t.Errorf("open: %v", err)
	}
	d.mend()
	p.open()
}

func TestDocumentsAndRecordsFollowTheDisk(t *testing.T) {
	for name, store := range map[string]func(*journal.Journal) error{
		"document": func(j *journal.Journal) error { return j.Put(context.Background(), "b", "k", []byte("x")) },
		"record":   func(j *journal.Journal) error { return record(t, j, "alarms", "x") },
	} {
		t.Run(name, func(t *testing.T) {
			p, d := inside(t)
			j := p.open()
			release := d.holdUp()
			stored := make(chan error, 1)
			go func() { stored <- store(j) }()
			<-d.begun
			select {
			case err := <-stored:
				t.Fatal("stored before the sync:", err)
			default:
			}
			d.fail(syscall.EIO)
			release()
			if err := <-stored; !errors.Is(err, journal.ErrStorage) || !errors.Is(err, syscall.EIO) {
				t.Errorf("after a failed sync: %v", err)
			}
		})
	}
}

// A folder whose name is lost in a power cut takes along what is in it, synced or not.
func TestFoldersAreOnDiskBeforeAReceipt(t *testing.T) {
	p, d := inside(t)
	p.o.Dir = filepath.Join(p.o.Dir, "data", "journal")
	var mu sync.Mutex
	synced := map[string]bool{}
	p.o.ReplaceSync(func(f *os.File) error {
		mu.Lock()
		defer mu.Unlock()
		synced[f.Name()] = true
		return d.sync(f)
	})
	j := p.open()
	mu.Lock()
	defer mu.Unlock()
	for _, stream := range []string{"hawser-telemetry", "hawser-documents", "hawser-records"} {
		for dir := j.Blocks(stream); len(dir) >= len(filepath.Dir(p.o.Dir)); dir = filepath.Dir(dir) {
			if !synced[dir] {
				t.Errorf("the names in %s are not on disk", dir)
			}
		}
	}
}

func TestReceiptWithoutOwnSync(t *testing.T) {
	p, d := inside(t)
	p.o.SyncEvery = -1
	j := p.open()
	d.fail(syscall.EIO)
	appendMany(t, j, "jetty-1", 1, 10)
	if err := j.Put(t.Context(), "b", "k", []byte("x")); err != nil {
		t.Error(err)
	}
	d.mend()
}

// Blocks of a stream of this size hold a quarter of it, so that entries come to
// lie in several, and the oldest are removed while others are written.
func TestSyncGoesOnFromBlockToBlock(t *testing.T) {
	p, d := inside(t)
	p.o.MaxBytes = 1 << 20
	var last atomic.Pointer[string]
	p.o.ReplaceSync(func(f *os.File) error {
		name := f.Name()
		last.Store(&name)
		return d.sync(f)
	})
	j := p.open()
	e := entry("jetty-1", "gw", 0)
	e.Data = make([]byte, 50e3)
	for seq := uint64(1); seq <= 100; seq++ {
		e.SourceSequence = seq
		appendOne(t, j, e)
		if newest := newestBlock(t, j, "hawser-telemetry"); *last.Load() != newest {
			t.Fatalf("sequence %d: synced %s last, the newest block is %s", seq, *last.Load(), newest)
		}
	}
	if first, lastPos, err := j.Bounds(t.Context()); first < 70 || lastPos != 100 || err != nil {
		t.Errorf("bounds %d %d %v: want the oldest dropped", first, lastPos, err)
	}
}

// Entries that came to the old block after its last sync, and to the next one,
// are on disk only when both are synced.
func TestSyncOfBlockThatWasLeft(t *testing.T) {
	p, d := inside(t)
	p.o.MaxBytes = 16 << 20 // blocks of 4 MiB
	var mu sync.Mutex
	synced := map[string]int{}
	p.o.ReplaceSync(func(f *os.File) error {
		err := d.sync(f)
		mu.Lock()
		defer mu.Unlock()
		if filepath.Dir(f.Name()) == filepath.Clean(filepath.Join(p.o.Dir, "jetstream/$G/streams/hawser-telemetry/msgs")) {
			synced[filepath.Base(f.Name())]++
		}
		return err
	})
	j := p.open()
	release := d.holdUp()
	e := entry("jetty-1", "gw", 1)
	e.Data = make([]byte, 50_000)
	last := mustAppend(t, j, e)
	<-d.begun
	for e.SourceSequence = 2; e.SourceSequence <= 100; e.SourceSequence++ {
		last = mustAppend(t, j, e)
	}
	collect(t, j, journal.FollowOptions{}, 100) // all acknowledged
	if newest := filepath.Base(newestBlock(t, j, "hawser-telemetry")); newest != "2.blk" {
		t.Fatalf("the newest block is %s, want the second", newest)
	}
	mu.Lock()
	clear(synced)
	mu.Unlock()
	release()
	stored(t, last)
	mu.Lock()
	defer mu.Unlock()
	if synced["1.blk"] != 2 || synced["2.blk"] != 1 {
		t.Errorf("synced %v, want the first block twice (once held up) and the second once", synced)
	}
}

func newestBlock(t *testing.T, j *journal.Journal, stream string) string {
	t.Helper()
	newest := 0
	names, err := filepath.Glob(filepath.Join(j.Blocks(stream), "*.blk"))
	must(t, err)
	for _, name := range names {
		if n, err := strconv.Atoi(filepath.Base(name[:len(name)-len(".blk")])); err == nil {
			newest = max(newest, n)
		}
	}
	return filepath.Join(j.Blocks(stream), strconv.Itoa(newest)+".blk")
}

func TestKilledProcessLosesNothing(t *testing.T) {
	p, _ := inside(t)
	c := startChild(t, "append "+p.o.Dir)
	var told uint64
	for told < 300 {
		n, err := strconv.ParseUint(c.line(), 10, 64)
		if err != nil || n != told+1 {
			t.Fatalf("child said %d, %v, want %d", n, err, told+1)
		}
		told = n
	}
	c.kill()
	for c.lines.Scan() { // what it said before it died
		if n, err := strconv.ParseUint(c.lines.Text(), 10, 64); err == nil {
			told = n
		}
	}
	j := p.open()
	if r := j.Recovery(); r.InOrder || r.Damaged() || uint64(r.Last) < told {
		t.Errorf("recovery %+v after %d were told", r, told)
	}
	last, err := j.LastSequence(t.Context(), "jetty-1", "gw")
	if err != nil || last < told {
		t.Fatalf("last sequence %d, %v; %d were told", last, err, told)
	}
	inOrder(t, j, last)
}

func TestSecondProcessIsKeptOut(t *testing.T) {
	p, _ := inside(t)
	p.open()
	if _, err := journal.Open(t.Context(), p.o); err == nil {
		t.Error("opened twice")
	}
}

func TestServerGoneUnderTheJournal(t *testing.T) {
	p, _ := inside(t)
	j := p.open()
	appendOne(t, j, entry("jetty-1", "gw", 1))
	j.StopServer()
	<-j.Failed()
	if _, err := j.Append(t.Context(), entry("jetty-1", "gw", 2)); !errors.Is(err, journal.ErrStorage) {
		t.Errorf("append: %v", err)
	}
}
