package journal_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"slices"
	"sync"
	"testing"
	"time"

	"hawser/ingest/journal"
)

// place is where a journal is: a folder, or a server outside that can be killed
// and come back.
type place struct {
	t    *testing.T
	o    journal.Options
	dir  string
	proc *child
}

// everywhere runs a test on both kinds of journal.
func everywhere(t *testing.T, test func(t *testing.T, p *place)) {
	t.Run("inside", func(t *testing.T) {
		test(t, &place{t: t, o: journal.Options{Dir: t.TempDir(), SyncEvery: time.Millisecond}})
	})
	t.Run("outside", func(t *testing.T) {
		p := &place{t: t, dir: t.TempDir()}
		p.startServer("0")
		test(t, p)
	})
}

func (p *place) startServer(port string) {
	p.proc = startChild(p.t, "server "+p.dir+" "+port)
	p.o.URL = p.proc.line()
}

func (p *place) restartServer() {
	p.t.Helper()
	u, err := url.Parse(p.o.URL)
	if err != nil {
		p.t.Fatal(err)
	}
	p.proc.kill()
	p.startServer(u.Port())
}

func (p *place) open() *journal.Journal {
	p.t.Helper()
	return open(p.t, p.o)
}

// open opens a journal until the test ends.
func open(t *testing.T, o journal.Options) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), o)
	must(t, err)
	t.Cleanup(func() { closeJournal(t, j) })
	return j
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func closeJournal(t *testing.T, j *journal.Journal) {
	t.Helper()
	if err := j.Close(); err != nil {
		t.Error("close:", err)
	}
}

func entry(berth, source string, seq uint64) *journal.Entry {
	return &journal.Entry{Berth: berth, Source: source, SourceSequence: seq, Plan: "0123456789abcdef", Data: fmt.Appendf(nil, "%s/%s/%d", berth, source, seq)}
}

func mustAppend(t *testing.T, j *journal.Journal, e *journal.Entry) *journal.Pending {
	t.Helper()
	p, err := j.Append(t.Context(), e)
	must(t, err)
	return p
}

// stored waits for an entry's receipt and gives its position.
func stored(t *testing.T, p *journal.Pending) journal.Position {
	t.Helper()
	pos, err := p.Wait(t.Context())
	must(t, err)
	return pos
}

func appendOne(t *testing.T, j *journal.Journal, e *journal.Entry) journal.Position {
	t.Helper()
	return stored(t, mustAppend(t, j, e))
}

// appendMany appends from..to and waits for all.
func appendMany(t *testing.T, j *journal.Journal, berth string, from, to uint64) {
	t.Helper()
	var last *journal.Pending
	for seq := from; seq <= to; seq++ {
		last = mustAppend(t, j, entry(berth, "gw", seq))
	}
	stored(t, last)
}

// record appends a record of a log.
func record(t *testing.T, j *journal.Journal, log, text string) error {
	_, err := j.AppendRecord(t.Context(), log, []byte(text))
	return err
}

var errEnough = errors.New("enough")

// collect follows until n entries came.
func collect(t *testing.T, j *journal.Journal, o journal.FollowOptions, n int) []journal.Entry {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var got []journal.Entry
	err := j.Follow(ctx, o, func(e *journal.Entry) error {
		got = append(got, *e)
		if len(got) == n {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatalf("followed %d of %d entries: %v", len(got), n, err)
	}
	return got
}

// inOrder checks that the first n entries have the sequences 1 to n.
func inOrder(t *testing.T, j *journal.Journal, n uint64) {
	t.Helper()
	for i, e := range collect(t, j, journal.FollowOptions{}, int(n)) {
		if e.SourceSequence != uint64(i+1) {
			t.Fatalf("entry %d has sequence %d", i, e.SourceSequence)
		}
	}
}

// follower follows a journal beside the test.
type follower struct {
	t     *testing.T
	got   chan uint64 // sequences
	stop  context.CancelFunc
	ended chan error
}

func follow(t *testing.T, j *journal.Journal, o journal.FollowOptions) *follower {
	ctx, cancel := context.WithCancel(t.Context())
	f := &follower{t: t, got: make(chan uint64, 400), stop: cancel, ended: make(chan error, 1)}
	go func() {
		f.ended <- j.Follow(ctx, o, func(e *journal.Entry) error {
			if o.Berth != "" && e.Berth != o.Berth {
				t.Errorf("entry of %s", e.Berth)
			}
			f.got <- e.SourceSequence
			return nil
		})
	}()
	return f
}

// gives waits for the sequences from..to, and no others between.
func (f *follower) gives(from, to uint64) {
	f.t.Helper()
	for want := from; want <= to; want++ {
		if n := <-f.got; n != want {
			f.t.Fatalf("sequence %d, want %d", n, want)
		}
	}
}

func (f *follower) end() {
	f.t.Helper()
	f.stop()
	if err := <-f.ended; !errors.Is(err, context.Canceled) {
		f.t.Error(err)
	}
}

func TestEntriesComeBackAsGiven(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		began := time.Now().Add(-time.Second)
		in := []*journal.Entry{
			{Berth: "jetty-1", Source: "gw_A-1", SourceSequence: 7, Plan: "00ff", Refused: []uint32{0, 3, 511}, Data: []byte{0, 1, 2, 255}},
			{Berth: "quay-2", Source: "file", SourceSequence: 1},
			{Berth: "jetty-1", Source: "gw_A-1", SourceSequence: 8, Plan: "00ff", Data: bytes.Repeat([]byte("x"), 1<<20)},
		}
		var at []journal.Position
		for _, e := range in {
			at = append(at, appendOne(t, j, e))
		}
		if !slices.Equal(at, []journal.Position{1, 2, 3}) {
			t.Errorf("positions %v, want 1 2 3", at)
		}
		for i, got := range collect(t, j, journal.FollowOptions{}, 3) {
			want := *in[i]
			if got.Stored.Before(began) || got.Stored.After(time.Now().Add(time.Second)) || got.Stored.Location() != time.UTC {
				t.Errorf("entry %d stored %v", i, got.Stored)
			}
			if got.Berth != want.Berth || got.Source != want.Source || got.SourceSequence != want.SourceSequence ||
				got.Plan != want.Plan || !slices.Equal(got.Refused, want.Refused) || !bytes.Equal(got.Data, want.Data) || got.Position != at[i] {
				t.Errorf("entry %d came back as %+v", i, got)
			}
		}
		berths, err := j.Berths(t.Context())
		if err != nil || !slices.Equal(berths, []string{"jetty-1", "quay-2"}) {
			t.Errorf("berths %v, %v", berths, err)
		}
		first, last, err := j.Bounds(t.Context())
		if first != 1 || last != 3 || err != nil {
			t.Errorf("bounds %d %d %v, want 1 3", first, last, err)
		}
	})
}

func TestEmptyJournal(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		first, last, err := j.Bounds(t.Context())
		if first != 1 || last != 0 || err != nil {
			t.Errorf("bounds %d %d %v, want 1 0", first, last, err)
		}
		if berths, err := j.Berths(t.Context()); len(berths) != 0 || err != nil {
			t.Errorf("berths %v, %v", berths, err)
		}
		if n, err := j.LastSequence(t.Context(), "jetty-1", "gw"); n != 0 || err != nil {
			t.Errorf("last sequence %d, %v", n, err)
		}
	})
}

func TestRepeatedEntryIsStoredOnce(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		appendMany(t, j, "jetty-1", 1, 5)
		appendMany(t, j, "jetty-1", 3, 6) // 3, 4 and 5 again
		appendMany(t, j, "jetty-2", 1, 1) // the sequence is its source's own
		closeJournal(t, j)

		j = p.open()
		appendMany(t, j, "jetty-1", 1, 8) // 1 to 6 again, after a restart
		if n, err := j.LastSequence(t.Context(), "jetty-1", "gw"); n != 8 || err != nil {
			t.Errorf("last sequence %d, %v, want 8", n, err)
		}
		var seqs []uint64
		for _, e := range collect(t, j, journal.FollowOptions{}, 9) {
			seqs = append(seqs, e.SourceSequence)
		}
		if want := []uint64{1, 2, 3, 4, 5, 6, 1, 7, 8}; !slices.Equal(seqs, want) {
			t.Errorf("stored %v, want %v", seqs, want)
		}
		if _, last, err := j.Bounds(t.Context()); last != 9 || err != nil {
			t.Errorf("last position %d, %v, want 9", last, err)
		}
	})
}

func TestFollowOneBerthLive(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		appendMany(t, j, "jetty-1", 1, 100)
		appendMany(t, j, "jetty-2", 1, 100)
		f := follow(t, j, journal.FollowOptions{Berth: "jetty-2", After: 150})
		// Position 150 is jetty-2's 50; the live ones follow without a gap.
		f.gives(51, 100)
		for want := uint64(101); want <= 200; want++ {
			appendOne(t, j, entry("jetty-1", "gw", want))
			appendOne(t, j, entry("jetty-2", "gw", want))
			f.gives(want, want)
		}
		f.end()
	})
}

func TestFollowOutlivesLostConsumer(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		appendMany(t, j, "jetty-1", 1, 10)
		f := follow(t, j, journal.FollowOptions{})
		for want := uint64(1); want <= 40; want++ {
			if want > 10 {
				appendOne(t, j, entry("jetty-1", "gw", want))
			}
			f.gives(want, want)
			if want%10 == 0 {
				if n, err := j.DropConsumers(); n != 1 || err != nil {
					t.Fatalf("dropped %d consumers, %v, want 1", n, err)
				}
			}
		}
		f.end()
	})
}

func TestFollowManyTogether(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		const berths, each = 20, 50
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		var wg sync.WaitGroup
		for b := range berths {
			wg.Go(func() {
				var want uint64
				err := j.Follow(ctx, journal.FollowOptions{Reader: fmt.Sprint("watch/", b), Berth: fmt.Sprint("b", b)}, func(e *journal.Entry) error {
					if want++; e.SourceSequence != want {
						t.Errorf("berth %d: sequence %d, want %d", b, e.SourceSequence, want)
					}
					if want == each {
						return errEnough
					}
					return nil
				})
				if !errors.Is(err, errEnough) {
					t.Errorf("berth %d: %v after %d", b, err, want)
				}
			})
		}
		for seq := uint64(1); seq <= each; seq++ {
			for b := range berths {
				mustAppend(t, j, entry(fmt.Sprint("b", b), "gw", seq))
			}
		}
		wg.Wait()
	})
}

func TestRememberedPositionPastTheEnd(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		appendMany(t, j, "jetty-1", 1, 20)
		seen := collect(t, j, journal.FollowOptions{}, 20)
		none := func(*journal.Entry) error { t.Error("entry given"); return errEnough }

		var rolled *journal.RolledBackError
		err := j.Follow(t.Context(), journal.FollowOptions{After: 25}, none)
		if !errors.As(err, &rolled) || *rolled != (journal.RolledBackError{After: 25, Last: 20, Resume: 20}) {
			t.Errorf("past the end: %v", err)
		}
		// The journal has grown past the position again, with another entry at it.
		err = j.Follow(t.Context(), journal.FollowOptions{After: 15, AfterStored: seen[9].Stored}, none)
		if !errors.As(err, &rolled) || *rolled != (journal.RolledBackError{After: 15, Last: 20, Resume: 10}) {
			t.Errorf("another entry there: %v", err)
		}
		if got := collect(t, j, journal.FollowOptions{After: 15, AfterStored: seen[14].Stored}, 5); got[0].Position != 16 {
			t.Errorf("resumed at %d, want 16", got[0].Position)
		}
	})
}

func TestDocuments(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		ctx := t.Context()
		if _, ok, err := j.Get(ctx, "plans", "jetty-1"); ok || err != nil {
			t.Errorf("get of nothing: %v %v", ok, err)
		}
		large := bytes.Repeat([]byte("0123456789abcdef"), journal.MaxDocument/16)
		for _, d := range []struct {
			bucket, key string
			data        []byte
		}{{"plans", "jetty-2", []byte("old")}, {"plans", "jetty-1", nil}, {"plans", "jetty-2", []byte("new")}, {"snapshots", "jetty-1", large}} {
			must(t, j.Put(ctx, d.bucket, d.key, d.data))
		}
		if err := j.Put(ctx, "snapshots", "jetty-1", append(large, 0)); !errors.Is(err, journal.ErrTooLarge) {
			t.Errorf("too large a document: %v", err)
		}
		closeJournal(t, j)
		j = p.open()
		for _, d := range []struct {
			bucket, key string
			want        []byte
		}{{"plans", "jetty-1", nil}, {"plans", "jetty-2", []byte("new")}, {"snapshots", "jetty-1", large}} {
			got, ok, err := j.Get(ctx, d.bucket, d.key)
			if !ok || err != nil || !bytes.Equal(got, d.want) {
				t.Errorf("%s/%s: %d bytes, %v, %v; want %d", d.bucket, d.key, len(got), ok, err, len(d.want))
			}
		}
		if keys, err := j.Keys(ctx, "plans"); err != nil || !slices.Equal(keys, []string{"jetty-1", "jetty-2"}) {
			t.Errorf("keys %v, %v", keys, err)
		}
		if keys, err := j.Keys(ctx, "none"); err != nil || len(keys) != 0 {
			t.Errorf("keys %v, %v", keys, err)
		}
	})
}

func TestRecords(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		read := func(log string, after uint64) (got []string) {
			last := after
			err := j.ReadRecords(t.Context(), log, after, func(pos uint64, data []byte) error {
				if pos <= last {
					t.Errorf("position %d after %d", pos, last)
				}
				last = pos
				got = append(got, string(data))
				return nil
			})
			must(t, err)
			return got
		}
		if got := read("alarms", 0); got != nil {
			t.Errorf("read %v of nothing", got)
		}
		var at []uint64
		for i := range 5 {
			pos, err := j.AppendRecord(t.Context(), "alarms", fmt.Append(nil, i))
			must(t, err)
			at = append(at, pos)
			must(t, record(t, j, "audit", "x"))
		}
		closeJournal(t, j)
		j = p.open()
		if got := read("alarms", 0); !slices.Equal(got, []string{"0", "1", "2", "3", "4"}) {
			t.Errorf("all: %v", got)
		}
		if got := read("alarms", at[2]); !slices.Equal(got, []string{"3", "4"}) {
			t.Errorf("after the third: %v", got)
		}
		if got := read("alarms", at[4]); got != nil {
			t.Errorf("after the last: %v", got)
		}
		if err := j.ReadRecords(t.Context(), "alarms", 0, func(uint64, []byte) error { return errEnough }); !errors.Is(err, errEnough) {
			t.Error(err)
		}
	})
}

func TestClosedJournal(t *testing.T) {
	everywhere(t, func(t *testing.T, p *place) {
		j := p.open()
		under := mustAppend(t, j, entry("jetty-1", "gw", 1))
		ended := make(chan error, 1)
		started := make(chan bool, 10)
		go func() {
			ended <- j.Follow(context.Background(), journal.FollowOptions{}, func(*journal.Entry) error {
				started <- true
				return nil
			})
		}()
		<-started
		closeJournal(t, j)
		if _, err := under.Wait(t.Context()); err != nil {
			t.Errorf("an entry on the way at Close: %v", err)
		}
		if err := <-ended; !errors.Is(err, journal.ErrClosed) {
			t.Errorf("follow: %v", err)
		}
		ctx := t.Context()
		for name, ask := range map[string]func() error{
			"append":        func() error { _, err := j.Append(ctx, entry("jetty-1", "gw", 2)); return err },
			"last sequence": func() error { _, err := j.LastSequence(ctx, "jetty-1", "gw"); return err },
			"put":           func() error { return j.Put(ctx, "b", "k", nil) },
			"bounds":        func() error { _, _, err := j.Bounds(ctx); return err },
			"berths":        func() error { _, err := j.Berths(ctx); return err },
			"newest":        func() error { _, err := j.Newest(ctx, "jetty-1"); return err },
			"record":        func() error { _, err := j.AppendRecord(ctx, "alarms", nil); return err },
			"last record":   func() error { _, err := j.LastRecord(ctx); return err },
			"unread":        func() error { _, err := j.Unread(ctx); return err },
			"snapshot":      func() error { return j.Snapshot(ctx, journal.Telemetry, io.Discard) },
		} {
			if err := ask(); !errors.Is(err, journal.ErrClosed) {
				t.Errorf("%s: %v", name, err)
			}
		}
		closeJournal(t, j) // twice
	})
}
