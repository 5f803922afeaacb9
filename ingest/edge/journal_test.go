package edge_test

import (
	"math/rand/v2"
	"sync/atomic"
	"testing"

	"golang.org/x/sync/errgroup"

	"hawser/detect/reading"
	"hawser/ingest/edge"
)

// A connection that is cut again and again costs nothing and doubles nothing.
func TestCutConnections(t *testing.T) {
	const n, lines = 2000, 4
	s := anywhere(t)
	random := rand.New(rand.NewPCG(1, 2))
	f := newFlaky(t, s.addr, func() int64 { return 5_000 + random.Int64N(60_000) })
	sum, err := edge.Send(t.Context(), dial(t, f.listener.Addr().String()), recording(n, lines), options())
	must(t, err)
	if cuts := f.cuts.Load(); cuts < 3 || sum.Reconnects < 3 {
		t.Errorf("%d cuts, %d reconnects: the connection was not cut", cuts, sum.Reconnects)
	}
	if sum.Batches != n || sum.DurableSequence != n {
		t.Errorf("summary is %+v", sum)
	}
	s.has(n, lines)
}

// Two senders of the same source and recording push each other off and still
// bring each block once.
func TestTwoSenders(t *testing.T) {
	const n, lines = 600, 2
	s := anywhere(t)
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
	must(t, both.Wait())
	if got := batches.Load(); got != 2*n {
		t.Errorf("the two account for %d blocks, want %d", got, 2*n)
	}
	if reconnects.Load() == 0 {
		t.Error("neither pushed the other off")
	}
	s.has(n, lines)
}

// A server that stops, in order or not, and comes back on the same journal in
// the middle of a stream loses nothing and takes nothing twice.
func TestServerRestarts(t *testing.T) {
	const n, lines, restarts = 1500, 3, 3
	dir := t.TempDir()
	s := listen(t, "127.0.0.1:0", dir, nil)
	addr := s.addr

	half := make(chan struct{}, restarts)
	next := recording(n, lines)
	o := options()
	o.Window(50)
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
		}, o)
		ended <- err
	}()
	for i := range restarts {
		<-half
		if i%2 == 0 {
			s.server.Stop() // cuts the streams
		}
		s.stop()
		s = listen(t, addr, dir, nil)
	}
	must(t, <-ended)
	if sum.Reconnects == 0 || sum.Batches != n {
		t.Errorf("summary is %+v", sum)
	}
	s.has(n, lines)
}
