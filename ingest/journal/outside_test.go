package journal_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"hawser/ingest/journal"
	"hawser/services/waittest"
)

func outside(t *testing.T) *place {
	p := &place{t: t, dir: t.TempDir()}
	p.startServer("0")
	return p
}

func TestOutageOutside(t *testing.T) {
	p := outside(t)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 5)
	f := follow(t, j, journal.FollowOptions{})
	f.gives(1, 5)
	p.proc.kill()
	// Told at once or when the loss is noticed, never hung.
	w, err := j.Append(t.Context(), entry("jetty-1", "gw", 6))
	if err == nil {
		_, err = w.Wait(t.Context())
	}
	if !errors.Is(err, journal.ErrUnavailable) {
		t.Errorf("append without a server: %v", err)
	}
	if err := j.Err(); err != nil {
		t.Errorf("an outage is no failure of storage: %v", err)
	}
	p.restartServer()
	var last uint64
	waittest.True(t, "the server's return", func() bool {
		last, err = j.LastSequence(t.Context(), "jetty-1", "gw")
		return err == nil
	})
	if last != 5 && last != 6 {
		t.Fatalf("last sequence %d", last)
	}
	appendMany(t, j, "jetty-1", 6, 10)
	f.gives(6, 10)
	f.end()
}

// Two ingest replicas, between which a source moves.
func TestTwoWritersOutside(t *testing.T) {
	p := outside(t)
	a, b := p.open(), p.open()
	appendMany(t, a, "jetty-1", 1, 5)
	if n, err := b.LastSequence(t.Context(), "jetty-1", "gw"); n != 5 || err != nil {
		t.Fatalf("the other sees %d, %v", n, err)
	}
	appendMany(t, b, "jetty-1", 6, 8)
	// The first does not know of 6 to 8. It stores nothing twice, and says so.
	if _, err := mustAppend(t, a, entry("jetty-1", "gw", 6)).Wait(t.Context()); err == nil {
		t.Error("stored what another had stored")
	}
	if _, err := a.Append(t.Context(), entry("jetty-1", "gw", 9)); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("the next one: %v, want it refused until asked", err)
	}
	if n, err := a.LastSequence(t.Context(), "jetty-1", "gw"); n != 8 || err != nil {
		t.Errorf("last sequence %d, %v, want 8", n, err)
	}
	appendMany(t, a, "jetty-1", 9, 9)
	inOrder(t, b, 9)
}

func TestForeignMessageIsTold(t *testing.T) {
	p := outside(t)
	told := &told{}
	told.into(&p.o)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 1)
	nc, err := nats.Connect(p.o.URL)
	must(t, err)
	defer nc.Close()
	for _, header := range []string{"", "x", "0 - -", "1 -", "1 - a", "-1 - -"} {
		m := nats.NewMsg("hawser.telemetry.jetty-1.other")
		m.Header.Set("Hawser-Batch", header)
		if _, err := nc.RequestMsg(m, 5*time.Second); err != nil {
			t.Fatal(err)
		}
	}
	appendMany(t, j, "jetty-1", 2, 2)
	if got := collect(t, j, journal.FollowOptions{Reader: "store"}, 2); got[1].SourceSequence != 2 {
		t.Errorf("read %+v", got)
	}
	if want := (journal.Loss{Reader: "store", From: 2, To: 7, Damaged: true}); len(told.losses) != 1 || told.losses[0] != want {
		t.Errorf("told %+v, want %+v", told.losses, want)
	}
	if _, err := j.LastSequence(t.Context(), "jetty-1", "other"); err == nil {
		t.Error("a sequence out of a foreign message")
	}
}

func TestServerWithSmallPayload(t *testing.T) {
	p := &place{t: t, dir: t.TempDir()}
	p.proc = startChild(t, "small-server "+p.dir+" 0")
	p.o.URL = p.proc.line()
	j := p.open()
	if err := j.Put(t.Context(), "snapshots", "jetty-1", make([]byte, 1<<20)); err != nil {
		t.Error(err)
	}
	err := j.Put(t.Context(), "snapshots", "jetty-1", make([]byte, 1<<20+1))
	if !errors.Is(err, journal.ErrTooLarge) || !strings.Contains(err.Error(), "max_payload is 1048576") {
		t.Errorf("%v", err)
	}
	e := entry("jetty-1", "gw", 1)
	e.Data = make([]byte, 1<<20)
	if _, err := j.Append(t.Context(), e); !errors.Is(err, journal.ErrTooLarge) {
		t.Errorf("append: %v", err)
	}
	appendMany(t, j, "jetty-1", 1, 2) // nothing is broken by it
}

// The server outside comes back without its newest entries and is filled again,
// past its old end, before the followers are back: each that had seen what is lost
// is told where to go on, and one that had not goes on.
func TestServerOutsideLosesItsEnd(t *testing.T) {
	p := outside(t)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 100)
	ends := make(chan error, 3)
	follow := func(o journal.FollowOptions, handle func(e *journal.Entry) error) {
		go func() { ends <- j.Follow(t.Context(), o, handle) }()
	}
	var seen sync.WaitGroup
	seen.Add(2)
	at100 := func(e *journal.Entry) error {
		if e.Position == 100 {
			seen.Done()
		}
		return nil
	}
	follow(journal.FollowOptions{Reader: "all"}, at100)
	follow(journal.FollowOptions{Reader: "one", Berth: "jetty-1", After: 90}, at100)
	seen.Wait()
	slow, more := make(chan journal.Entry, 200), make(chan bool)
	follow(journal.FollowOptions{Reader: "slow"}, func(e *journal.Entry) error {
		if slow <- *e; e.Position == 40 {
			<-more
		}
		return nil
	})

	p.proc.kill()
	cutServer(t, p.dir, 0.7)
	p.restartServer()
	other := p.open()
	_, left, err := other.Bounds(t.Context())
	if err != nil || left < 64 || left > 90 {
		t.Fatalf("story: %d entries are left, %v", left, err)
	}
	appendMany(t, other, "jetty-2", 1, 150)

	for range 2 {
		var rolled *journal.RolledBackError
		if err := <-ends; !errors.As(err, &rolled) || rolled.After < 100 || rolled.Resume != left {
			t.Errorf("a follower ended with %v, want to resume after %d", err, left)
		}
	}
	close(more)
	for want := journal.Position(1); want <= left+150; want++ {
		e := <-slow
		if e.Position != want || (e.Berth == "jetty-2") != (want > left) {
			t.Fatalf("the slow one was given position %d of %s, want %d", e.Position, e.Berth, want)
		}
	}
}

// cutServer leaves a share of the telemetry of a server that is not running, and
// none of its index, which would know how much there was.
func cutServer(t *testing.T, dir string, share float64) {
	t.Helper()
	blocks, err := filepath.Glob(filepath.Join(dir, "jetstream", "*", "streams", "hawser-telemetry", "msgs", "*.blk"))
	if err != nil || len(blocks) != 1 {
		t.Fatalf("blocks: %q, %v", blocks, err)
	}
	fi, err := os.Stat(blocks[0])
	must(t, err)
	must(t, os.Truncate(blocks[0], int64(share*float64(fi.Size()))))
	if err := os.Remove(filepath.Join(filepath.Dir(blocks[0]), "index.db")); err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
}
