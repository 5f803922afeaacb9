package edge_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"hawser/detect/reading"
	"hawser/ingest/edge"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
)

func openJournal(t *testing.T, dir string) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: dir, SyncEvery: 2 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() }) // safe twice
	return j
}

// content is every entry of a journal, copied.
func content(t *testing.T, j *journal.Journal) []*journal.Entry {
	t.Helper()
	_, last, err := j.Bounds(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second)
	defer cancel()
	var out []*journal.Entry
	done := errors.New("all read")
	err = j.Follow(ctx, journal.FollowOptions{Reader: "test"}, func(e *journal.Entry) error {
		kept := *e
		kept.Data = append([]byte(nil), e.Data...)
		out = append(out, &kept)
		if e.Position == last {
			return done
		}
		return nil
	})
	if !errors.Is(err, done) {
		t.Fatal(err)
	}
	return out
}

// opened is a journal as the intake takes it.
type opened struct{ *journal.Journal }

func (o opened) Append(ctx context.Context, e *journal.Entry) (intake.Pending, error) {
	p, err := o.Journal.Append(ctx, e)
	if err != nil {
		return nil, err
	}
	return p, nil
}

// A connection that is cut again and again costs nothing and doubles nothing.
func TestCutConnections(t *testing.T) {
	const n, lines = 2000, 4
	j := openJournal(t, t.TempDir())
	s := listen(t, "127.0.0.1:0", opened{j}, &documents{}, nil)
	random := rand.New(rand.NewPCG(1, 2))
	f := newFlaky(t, s.addr, func() int64 { return 5_000 + random.Int64N(60_000) })
	sum, err := edge.Send(t.Context(), dial(t, f.listener.Addr().String()), recording(n, lines), options())
	if err != nil {
		t.Fatal(err)
	}
	if cuts := f.cuts.Load(); cuts < 3 || sum.Reconnects < 3 {
		t.Errorf("%d cuts, %d reconnects: the connection was not cut", cuts, sum.Reconnects)
	}
	if sum.Batches != n || sum.DurableSequence != n {
		t.Errorf("summary is %+v", sum)
	}
	same(t, content(t, j), n, lines)
}

// Two senders of the same source and recording push each other off and still
// bring each block once.
func TestTwoSenders(t *testing.T) {
	const n, lines = 600, 2
	j := openJournal(t, t.TempDir())
	s := listen(t, "127.0.0.1:0", opened{j}, &documents{}, nil)
	var both errgroup.Group
	var batches, reconnects atomic.Uint64
	for range 2 {
		both.Go(func() error {
			o := options()
			o.Pace = 300 // some seconds, so that they meet
			sum, err := edge.Send(t.Context(), dial(t, s.addr), recording(n, lines), o)
			batches.Add(sum.Batches + sum.Skipped)
			reconnects.Add(uint64(sum.Reconnects))
			return err
		})
	}
	if err := both.Wait(); err != nil {
		t.Fatal(err)
	}
	if got := batches.Load(); got != 2*n {
		t.Errorf("the two account for %d blocks, want %d", got, 2*n)
	}
	if reconnects.Load() == 0 {
		t.Error("neither pushed the other off")
	}
	same(t, content(t, j), n, lines)
}

// A server that stops, in order or not, and comes back on the same journal in
// the middle of a stream loses nothing and takes nothing twice.
func TestServerRestarts(t *testing.T) {
	const n, lines, restarts = 1500, 3, 3
	dir, docs := t.TempDir(), &documents{}
	j := openJournal(t, dir)
	s := listen(t, "127.0.0.1:0", opened{j}, docs, nil)
	addr := s.addr

	half := make(chan struct{}, restarts)
	next := recording(n, lines)
	ended := make(chan error, 1)
	var sum edge.Summary
	go func() {
		var err error
		sum, err = edge.Send(t.Context(), dial(t, addr), func() (*reading.Block, error) {
			b, err := next()
			if err == nil && b.Sequence%(n/(restarts+1)) == 0 && len(half) < cap(half) {
				half <- struct{}{}
			}
			return b, err
		}, func() edge.Options { o := options(); o.WindowBatches = 50; return o }())
		ended <- err
	}()
	for i := range restarts {
		<-half
		if i%2 == 0 {
			s.server.Stop() // cuts the streams
		}
		s.stop()
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		j = openJournal(t, dir)
		s = listen(t, addr, opened{j}, docs, nil)
	}
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	if sum.Reconnects == 0 || sum.Batches != n {
		t.Errorf("summary is %+v", sum)
	}
	same(t, content(t, j), n, lines)
}
