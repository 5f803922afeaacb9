package standby_test

import (
	"context"
	"fmt"
	"net"
	"slices"
	"testing"
	"time"

	natsd "github.com/nats-io/nats-server/v2/server"

	"hawser/ingest/journal"
	"hawser/ingest/standby"
	"hawser/services/waittest"
)

// outside starts a journal server on a folder, on a port or, for none, on any.
func outside(t *testing.T, dir string, port int) *natsd.Server {
	t.Helper()
	s, err := natsd.NewServer(&natsd.Options{Host: "127.0.0.1", Port: port, JetStream: true, StoreDir: dir, MaxPayload: 9 << 20,
		JetStreamMaxStore: 1 << 40, NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(20 * time.Second) {
		t.Fatal("the journal's server does not get ready")
	}
	return s
}

func end(s *natsd.Server) {
	s.Shutdown()
	s.WaitForShutdown()
}

// The server goes away a second time just when what was held has been written: a record
// that finds it gone gets to it with the others, though nothing else has met that outage.
func TestServerGoneWhileComingBack(t *testing.T) {
	dir := t.TempDir()
	first := outside(t, dir, natsd.RANDOM_PORT)
	port := first.Addr().(*net.TCPAddr).Port
	servers := make(chan *natsd.Server, 1) // the one that runs
	servers <- first
	o := standby.Options{Journal: journal.Options{URL: first.ClientURL()}}
	var j *standby.Journal
	outages := 0
	o.OnBack = func(ctx context.Context, _ journal.Position) error {
		if outages++; outages > 1 {
			return nil
		}
		end(<-servers)
		at, err := j.AppendRecord(ctx, "alarms", []byte("third"))
		if err != nil || at != 3 {
			t.Errorf("record with the server gone again is at %d, %v, want 3", at, err)
		}
		servers <- outside(t, dir, port)
		return nil
	}
	j, err := standby.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- j.Run(ctx) }()
	record := func(text string, want uint64) {
		t.Helper()
		if at, err := j.AppendRecord(ctx, "alarms", []byte(text)); err != nil || at != want {
			t.Errorf("record %q is at %d, %v, want %d", text, at, err, want)
		}
	}
	record("first", 1)
	end(<-servers)
	record("second", 2)
	servers <- outside(t, dir, port)
	onDisk := func(want ...string) func() error {
		return func() error {
			disk, err := journal.Open(t.Context(), journal.Options{URL: o.Journal.URL})
			if err != nil {
				return err
			}
			defer disk.Close()
			var got []string
			err = disk.ReadRecords(t.Context(), "alarms", 0, func(_ uint64, data []byte) error {
				got = append(got, string(data))
				return nil
			})
			if err == nil && !slices.Equal(got, want) {
				err = fmt.Errorf("on disk are %q, want %q", got, want)
			}
			return err
		}
	}
	waittest.Until(t, "all records to be on disk", onDisk("first", "second", "third"))
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if err := j.Close(); err != nil {
		t.Error(err)
	}
	end(<-servers)
}

// A document that is put when those held have been written, and before others go to the
// server again, gets there too.
func TestDocumentPutWhileComingBack(t *testing.T) {
	dir := t.TempDir()
	first := outside(t, dir, natsd.RANDOM_PORT)
	port := first.Addr().(*net.TCPAddr).Port
	o := standby.Options{Journal: journal.Options{URL: first.ClientURL()}, Hold: []string{"plans"}}
	var j *standby.Journal
	o.OnBack = func(ctx context.Context, _ journal.Position) error {
		return j.Put(ctx, "plans", "jetty-1", []byte("late"))
	}
	j, err := standby.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- j.Run(ctx) }()
	end(first)
	if err := j.Put(ctx, "plans", "jetty-1", []byte("early")); err != nil {
		t.Fatal(err)
	}
	second := outside(t, dir, port)
	waittest.Until(t, "the document to be on disk", func() error {
		disk, err := journal.Open(t.Context(), journal.Options{URL: o.Journal.URL})
		if err != nil {
			return err
		}
		defer disk.Close()
		got, _, err := disk.Get(t.Context(), "plans", "jetty-1")
		if err == nil && string(got) != "late" {
			err = fmt.Errorf("on disk is %q, want the late one", got)
		}
		return err
	})
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if err := j.Close(); err != nil {
		t.Error(err)
	}
	end(second)
}
