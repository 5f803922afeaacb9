//go:build unix

package standby_test

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"slices"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hawser/ingest/journal"
	"hawser/ingest/standby"
	"hawser/services/waittest"
)

// The log that go test keeps of the files a test opens is a file of this process as
// well, and would fail with the others (see fill): the tests do without.
func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("test.testlogfile", ""); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m)
}

// fill has every write of this process to a file refused, as a full disk does, until
// the function it returns is called or the test ends.
func fill(t *testing.T) (empty func()) {
	t.Helper()
	var was syscall.Rlimit
	set := func(l syscall.Rlimit) {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &l); err != nil {
			t.Error(err)
		}
	}
	must(t, syscall.Getrlimit(syscall.RLIMIT_FSIZE, &was))
	full := was
	full.Cur = 0
	set(full)
	empty = func() { set(was) }
	t.Cleanup(empty)
	return empty
}

// rig is a journal at work and what its readers were given.
type rig struct {
	t       *testing.T
	j       *standby.Journal
	o       standby.Options
	back    chan journal.Position // as OnBack was told
	resume  chan bool             // as OnKept was
	ended   chan error            // of Run
	stop    context.CancelFunc
	watched chan journal.Entry
	lost    chan error // what Watch ended with
	stored  chan journal.Entry
	data    []byte // of entries, that many bytes in place of the sequence in words
}

// content is the data of an entry.
func (r *rig) content(sequence uint64) []byte {
	if r.data != nil {
		return slices.Clone(r.data)
	}
	return fmt.Append(nil, "batch ", sequence)
}

func start(t *testing.T, dir string) *rig {
	t.Helper()
	return startWith(t, standby.Options{Journal: journal.Options{Dir: dir}, Hold: []string{"plans"}})
}

// startWith sets o's calls.
func startWith(t *testing.T, o standby.Options) *rig {
	t.Helper()
	r := &rig{t: t, o: o, back: make(chan journal.Position, 1), resume: make(chan bool, 1), ended: make(chan error, 1),
		watched: make(chan journal.Entry, 100), lost: make(chan error, 1), stored: make(chan journal.Entry, 100)}
	r.o.OnBack = func(_ context.Context, last journal.Position) error { r.back <- last; return nil }
	r.o.OnKept = func() { r.resume <- true }
	var err error
	if r.j, err = standby.Open(t.Context(), r.o); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r.stop = cancel
	go func() { r.ended <- r.j.Run(ctx) }()
	go func() {
		r.lost <- r.j.Watch(ctx, journal.FollowOptions{Reader: "watch", Berth: "jetty-1"}, func(e *journal.Entry) error {
			r.watched <- *e
			return nil
		})
	}()
	followed := make(chan error, 1)
	go func() {
		followed <- r.j.Follow(ctx, journal.FollowOptions{Reader: "store"}, func(e *journal.Entry) error {
			r.stored <- *e
			return nil
		})
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-r.ended; err != nil {
			t.Error(err)
		}
		<-followed
		if err := r.j.Close(); err != nil {
			t.Error(err)
		}
	})
	return r
}

// append gives an entry and waits for what becomes of it.
func (r *rig) append(sequence uint64) error {
	r.t.Helper()
	p, err := r.j.Append(r.t.Context(), &journal.Entry{Berth: "jetty-1", Source: "gw", SourceSequence: sequence, Data: r.content(sequence)})
	if err == nil {
		_, err = p.Wait(r.t.Context())
	}
	return err
}

// gives waits for what a reader is given next.
func (r *rig) gives(from chan journal.Entry, sequence uint64, at journal.Position) {
	r.t.Helper()
	select {
	case e := <-from:
		if e.SourceSequence != sequence || e.Position != at || !bytes.Equal(e.Data, r.content(sequence)) {
			r.t.Errorf("given sequence %d at %d, %.20q, want %d at %d", e.SourceSequence, e.Position, e.Data, sequence, at)
		}
	case <-time.After(30 * time.Second):
		r.t.Fatalf("sequence %d was not given", sequence)
	}
}

// keeps gives entries that are to be on disk, each at the position of its sequence.
func (r *rig) keeps(from, to uint64) {
	r.t.Helper()
	for sequence := from; sequence <= to; sequence++ {
		must(r.t, r.append(sequence))
		r.gives(r.stored, sequence, journal.Position(sequence))
	}
}

func (r *rig) record(text string, want uint64) {
	r.t.Helper()
	if at, err := r.j.AppendRecord(r.t.Context(), "alarms", []byte(text)); err != nil || at != want {
		r.t.Errorf("record %q is at %d, %v, want %d", text, at, err, want)
	}
}

func (r *rig) records(want ...string) {
	r.t.Helper()
	var got []string
	err := r.j.ReadRecords(r.t.Context(), "alarms", 0, func(at uint64, data []byte) error {
		got = append(got, fmt.Sprint(at, " ", string(data)))
		return nil
	})
	if err != nil || !slices.Equal(got, want) {
		r.t.Errorf("records %q, %v, want %q", got, err, want)
	}
}

func (r *rig) document(bucket, want string) {
	r.t.Helper()
	if got, ok, err := r.j.Get(r.t.Context(), bucket, "jetty-1"); err != nil || !ok || string(got) != want {
		r.t.Errorf("document is %q, %v, %v, want %q", got, ok, err, want)
	}
}

// answers checks what the journal says of itself: its bounds, and that all is read and
// one plan is there.
func (r *rig) answers(first, last journal.Position) {
	r.t.Helper()
	ctx := r.t.Context()
	f, l, err := r.j.Bounds(ctx)
	if f != first || l != last || err != nil {
		r.t.Errorf("bounds %d to %d, %v, want %d to %d", f, l, err, first, last)
	}
	if keys, err := r.j.Keys(ctx, "plans"); !slices.Equal(keys, []string{"jetty-1"}) || err != nil {
		r.t.Errorf("plans of %q, %v", keys, err)
	}
	newest, err := r.j.Newest(ctx, "jetty-1")
	if kept := r.j.State().Since.IsZero(); err != nil || kept != (len(newest) == 1 && newest[0].Position == last) {
		r.t.Errorf("newest %+v, %v", newest, err)
	}
	waittest.True(r.t, "all to be read", func() bool {
		ages, err := r.j.Unread(ctx)
		return err == nil && ages["store"] == 0
	})
}

// goesOnAfter checks after which sequence the source is told to go on.
func (r *rig) goesOnAfter(want uint64) {
	r.t.Helper()
	if last, err := r.j.LastSequence(r.t.Context(), "jetty-1", "gw"); err != nil || last != want {
		r.t.Fatalf("last sequence %d, %v, want %d", last, err, want)
	}
}

func within[T any](t *testing.T, what string, c <-chan T) (v T) {
	t.Helper()
	select {
	case v = <-c:
	case <-time.After(30 * time.Second):
		t.Fatalf("no %s", what)
	}
	return v
}

func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	r := start(t, dir)
	must(t, r.append(1))
	r.gives(r.watched, 1, 1)
	r.gives(r.stored, 1, 1)
	r.record("before", 1)
	for _, bucket := range []string{"plans", "snapshots"} {
		must(t, r.j.Put(t.Context(), bucket, "jetty-1", []byte("old")))
	}

	empty := fill(t)
	for sequence := uint64(2); sequence <= 4; sequence++ {
		if err := r.append(sequence); !errors.Is(err, standby.ErrUnkept) {
			t.Fatalf("on a full disk: %v", err)
		}
	}
	for sequence := uint64(2); sequence <= 4; sequence++ { // that on its way when the disk failed, too
		r.gives(r.watched, sequence, journal.Position(sequence))
	}
	if s := r.j.State(); s.Since.IsZero() || !errors.Is(s.Err, journal.ErrStorage) {
		t.Errorf("state %+v", s)
	}
	r.goesOnAfter(1)
	r.record("while full", 2)
	r.record("still full", 3)
	r.records("1 before", "2 while full", "3 still full")
	if err := r.j.Put(t.Context(), "plans", "jetty-1", []byte("new")); err != nil {
		t.Error(err)
	}
	r.document("plans", "new")
	if err := r.j.Put(t.Context(), "snapshots", "jetty-1", []byte("new")); !errors.Is(err, standby.ErrUnkept) {
		t.Errorf("a document that is not held: %v", err)
	}
	r.document("snapshots", "old")
	r.answers(2, 4)
	if err := r.j.Snapshot(t.Context(), journal.Telemetry, io.Discard); !errors.Is(err, standby.ErrUnkept) {
		t.Errorf("a copy of what is not kept: %v", err)
	}
	// What the disk would never take is not held: nothing else would come back to it.
	_, err := r.j.AppendRecord(t.Context(), "alarms", make([]byte, journal.MaxRecord+1))
	if !errors.Is(err, journal.ErrTooLarge) {
		t.Errorf("a record too large: %v", err)
	}
	if _, err := r.j.AppendRecord(t.Context(), "no such log", nil); err == nil {
		t.Error("a record of a log that cannot be is taken")
	}
	if err := r.j.Put(t.Context(), "plans", "jetty-1", make([]byte, journal.MaxDocument+1)); !errors.Is(err, journal.ErrTooLarge) {
		t.Errorf("a document too large: %v", err)
	}
	if err := r.j.Put(t.Context(), "plans", "jetty.1", nil); err == nil {
		t.Error("a document whose key cannot be is taken")
	}

	empty()
	if last := within(t, "word that it is back", r.back); last != 1 {
		t.Errorf("back after %d, want 1", last)
	}
	within(t, "word that it is kept", r.resume)
	var lost *journal.RolledBackError
	if err := within(t, "end of the watch", r.lost); !errors.As(err, &lost) || lost.Resume != 1 {
		t.Errorf("watch ended with %v", err)
	}
	if err := r.append(5); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("5 after what was not kept: %v", err)
	}
	r.goesOnAfter(1)
	r.keeps(2, 5)
	r.record("after", 4)
	r.answers(1, 5)
	if s := r.j.State(); s != (standby.State{}) {
		t.Errorf("state %+v", s)
	}
	r.stop()

	reopened := reopen(t, r, dir)
	reopened.records("1 before", "2 while full", "3 still full", "4 after")
	reopened.document("plans", "new")
	for sequence := uint64(1); sequence <= 5; sequence++ {
		reopened.gives(reopened.stored, sequence, journal.Position(sequence))
	}
}

// reopen ends a rig and begins another on its folder.
func reopen(t *testing.T, r *rig, dir string) *rig {
	t.Helper()
	r.stop()
	if err := within(t, "end of the journal", r.ended); err != nil {
		t.Error(err)
	}
	r.ended <- nil
	must(t, r.j.Close())
	return start(t, dir)
}

// A disk that fills again and again: each time all that was recorded is there.
func TestDiskThatFillsAgain(t *testing.T) {
	r := start(t, t.TempDir())
	sequence, record := uint64(0), uint64(0)
	next := func(want error) {
		t.Helper()
		sequence++
		if err := r.append(sequence); !errors.Is(err, want) {
			t.Fatalf("sequence %d: %v, want %v", sequence, err, want)
		}
		record++
		r.record("alarm", record)
	}
	for range 2 {
		next(nil)
		r.gives(r.stored, sequence, journal.Position(sequence))
		kept := sequence
		empty := fill(t)
		next(standby.ErrUnkept)
		next(standby.ErrUnkept)
		empty()
		if last := within(t, "word that it is back", r.back); last != journal.Position(kept) {
			t.Errorf("back after %d, want %d", last, kept)
		}
		within(t, "word that it is kept", r.resume)
		r.goesOnAfter(kept)
		r.keeps(kept+1, sequence)
	}
	r.records("1 alarm", "2 alarm", "3 alarm", "4 alarm", "5 alarm", "6 alarm")
}

// The first record of all fails on a full disk: its position is used up on disk, and
// nothing is there. It has that position all the same, for good.
func TestFirstRecordOnAFullDisk(t *testing.T) {
	dir := t.TempDir()
	r := start(t, dir)
	empty := fill(t)
	waittest.Until(t, "the journal to go to memory", func() error { // once Run has begun
		at, err := r.j.AppendRecord(t.Context(), "alarms", []byte("first"))
		if err == nil && at != 1 {
			t.Errorf("the first record is at %d", at)
		}
		return err
	})
	r.record("second", 2)
	empty()
	within(t, "word that it is kept", r.resume)
	r.record("third", 3)
	r.records("1 first", "2 second", "3 third")

	reopened := reopen(t, r, dir)
	reopened.records("1 first", "2 second", "3 third")
	reopened.record("fourth", 4)
}

// Who gives a record up while it is on its way has it on disk all the same or not at all;
// the position of the next, in memory, is never one that is taken.
func TestRecordGivenUp(t *testing.T) {
	dir := t.TempDir()
	r := start(t, dir)
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	var want []string
	for n := range 40 {
		text := fmt.Sprint("given up ", n)
		at, err := r.j.AppendRecord(gone, "alarms", []byte(text))
		switch {
		case err == nil:
			want = append(want, fmt.Sprint(at, " ", text))
		case !errors.Is(err, context.Canceled):
			t.Fatal(err)
		}
	}
	empty := fill(t)
	last := uint64(len(want))
	r.record("while full", last+1)
	r.record("still full", last+2)
	want = append(want, fmt.Sprint(last+1, " while full"), fmt.Sprint(last+2, " still full"))
	r.records(want...)
	empty()
	within(t, "word that it is kept", r.resume)
	r.records(want...)
	reopen(t, r, dir).records(want...)
}

// The first entry of a new block file fails on a full disk: nobody is told that it is
// lost, as it has no receipt and comes again.
func TestFirstEntryOfABlockOnAFullDisk(t *testing.T) {
	var lost atomic.Int32
	dir := t.TempDir()
	r := startWith(t, standby.Options{Journal: journal.Options{Dir: dir, MaxBytes: 16 << 20,
		OnLoss: func(journal.Loss) { lost.Add(1) }}})
	r.data = make([]byte, 50_000)
	// Blocks are of a quarter of MaxBytes and an entry takes its data and about a hundred
	// bytes more: 83 of these fill one.
	r.keeps(1, 83)
	empty := fill(t)
	if err := r.append(84); !errors.Is(err, standby.ErrUnkept) {
		t.Fatalf("on a full disk: %v", err)
	}
	empty()
	within(t, "word that it is kept", r.resume)
	if found := r.j.Recovery(); found.Damaged() {
		t.Errorf("found %+v, and nothing was lost", found)
	}
	r.goesOnAfter(83)
	r.keeps(84, 84)
	if n := lost.Load(); n > 0 {
		t.Errorf("%d losses were told", n)
	}
}
