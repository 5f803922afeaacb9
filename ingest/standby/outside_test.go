package standby_test

import (
	"context"
	"fmt"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	natsd "github.com/nats-io/nats-server/v2/server"

	"hawser/ingest/journal"
	"hawser/ingest/standby"
	"hawser/services/waittest"
)

// outside is a journal server that goes and comes back at one address.
type outside struct {
	t       *testing.T
	dir     string
	port    int
	running *natsd.Server
}

func newOutside(t *testing.T) *outside {
	s := &outside{t: t, dir: t.TempDir(), port: natsd.RANDOM_PORT}
	s.start()
	s.port = s.running.Addr().(*net.TCPAddr).Port
	t.Cleanup(s.end)
	return s
}

func (s *outside) start() {
	s.t.Helper()
	var err error
	s.running, err = natsd.NewServer(&natsd.Options{Host: "127.0.0.1", Port: s.port, JetStream: true, StoreDir: s.dir, MaxPayload: 9 << 20,
		JetStreamMaxStore: 1 << 40, NoSigs: true, NoLog: true})
	if err != nil {
		s.t.Fatal(err)
	}
	s.running.Start()
	if !s.running.ReadyForConnections(20 * time.Second) {
		s.t.Fatal("the journal's server does not get ready")
	}
}

func (s *outside) end() {
	s.running.Shutdown()
	s.running.WaitForShutdown()
}

func (s *outside) options() standby.Options {
	return standby.Options{Journal: journal.Options{URL: fmt.Sprintf("nats://127.0.0.1:%d", s.port)}, Hold: []string{"plans"}}
}

// holds waits until a look at what the server has finds it as it is to be.
func (s *outside) holds(what string, look func(disk *journal.Journal) error) {
	s.t.Helper()
	waittest.Until(s.t, what, func() error {
		disk, err := journal.Open(s.t.Context(), s.options().Journal)
		if err != nil {
			return err
		}
		defer disk.Close()
		return look(disk)
	})
}

func open(t *testing.T, o standby.Options) *standby.Journal {
	t.Helper()
	j, err := standby.Open(t.Context(), o)
	must(t, err)
	t.Cleanup(func() {
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	return j
}

// run runs a journal until the test ends.
func run(t *testing.T, j *standby.Journal) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- j.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}

// The server goes away a second time just when what was held has been written: a record
// that finds it gone gets to it with the others, though nothing else has met that outage.
func TestServerGoneWhileComingBack(t *testing.T) {
	server := newOutside(t)
	o := server.options()
	var j *standby.Journal
	record := func(text string, want uint64) {
		t.Helper()
		if at, err := j.AppendRecord(t.Context(), "alarms", []byte(text)); err != nil || at != want {
			t.Errorf("record %q is at %d, %v, want %d", text, at, err, want)
		}
	}
	var once sync.Once
	back := make(chan bool)
	o.OnBack = func(context.Context, journal.Position) error {
		once.Do(func() {
			server.end()
			record("third", 3)
			server.start()
			close(back)
		})
		return nil
	}
	j = open(t, o)
	run(t, j)
	record("first", 1)
	server.end()
	record("second", 2)
	server.start()
	<-back // the server is this goroutine's again
	server.holds("all records to be on disk", func(disk *journal.Journal) error {
		var got []string
		err := disk.ReadRecords(t.Context(), "alarms", 0, func(_ uint64, data []byte) error {
			got = append(got, string(data))
			return nil
		})
		if want := []string{"first", "second", "third"}; err == nil && !slices.Equal(got, want) {
			err = fmt.Errorf("on disk are %q, want %q", got, want)
		}
		return err
	})
}

// A document that is put when those held have been written, and before others go to the
// server again, gets there too.
func TestDocumentPutWhileComingBack(t *testing.T) {
	server := newOutside(t)
	o := server.options()
	var j *standby.Journal
	o.OnBack = func(ctx context.Context, _ journal.Position) error {
		return j.Put(ctx, "plans", "jetty-1", []byte("late"))
	}
	j = open(t, o)
	run(t, j)
	server.end()
	must(t, j.Put(t.Context(), "plans", "jetty-1", []byte("early")))
	server.start()
	server.holds("the document to be on disk", func(disk *journal.Journal) error {
		got, _, err := disk.Get(t.Context(), "plans", "jetty-1")
		if err == nil && string(got) != "late" {
			err = fmt.Errorf("on disk is %q, want the late one", got)
		}
		return err
	})
}

// An entry that the server refuses for good, here as another process has written its
// source meanwhile, is no longer on its way once the source has asked where to go on:
// else it would be held, with all that come after it, as long as the server answers.
func TestRefusedEntryIsNotHeld(t *testing.T) {
	server := newOutside(t)
	j, other := open(t, server.options()), open(t, server.options())
	add := func(to *standby.Journal, sequence uint64) error {
		p, err := to.Append(t.Context(), &journal.Entry{Berth: "jetty-1", Source: "gw", SourceSequence: sequence})
		if err == nil {
			_, err = p.Wait(t.Context())
		}
		return err
	}
	last := func(of *standby.Journal, want uint64) {
		t.Helper()
		if got, err := of.LastSequence(t.Context(), "jetty-1", "gw"); got != want || err != nil {
			t.Fatalf("last sequence %d, %v, want %d", got, err, want)
		}
	}
	last(j, 0)
	must(t, add(j, 1))
	last(other, 1)
	must(t, add(other, 2))
	if err := add(j, 2); err == nil {
		t.Fatal("what another has written is written again")
	}
	last(j, 2)
	for sequence := uint64(3); sequence <= 20; sequence++ {
		must(t, add(j, sequence))
	}
	if n := j.OnWay("jetty-1", "gw"); n > 1 {
		t.Errorf("%d entries are held as on their way, and all are there", n)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
