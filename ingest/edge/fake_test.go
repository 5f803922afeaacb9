package edge_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/edge"
	hawserv1 "hawser/proto/hawser/v1"
)

// fakeServer is a connection whose server receipts at once and notes when what
// came. It runs on a test's own time.
type fakeServer struct {
	grpc.ClientConnInterface
	refuse  []error // of the next streams
	tries   []time.Time
	hellos  []*hawserv1.Hello
	arrived []time.Time // of batches
	cutAt   int         // batches after which the stream is cut, once; 0 never
}

func (f *fakeServer) NewStream(ctx context.Context, _ *grpc.StreamDesc, _ string, _ ...grpc.CallOption) (grpc.ClientStream, error) {
	f.tries = append(f.tries, time.Now())
	if len(f.refuse) > 0 {
		err := f.refuse[0]
		f.refuse = f.refuse[1:]
		return nil, err
	}
	return &fakeStream{f: f, ctx: ctx, answers: make(chan *hawserv1.DeliverResponse, 100), cut: make(chan struct{})}, nil
}

type fakeStream struct {
	grpc.ClientStream
	f       *fakeServer
	ctx     context.Context
	answers chan *hawserv1.DeliverResponse
	cut     chan struct{}
}

func (s *fakeStream) SendMsg(m any) error {
	switch frame := m.(*hawserv1.DeliverRequest).GetFrame().(type) {
	case *hawserv1.DeliverRequest_Hello:
		s.f.hellos = append(s.f.hellos, frame.Hello)
		s.answers <- &hawserv1.DeliverResponse{Frame: &hawserv1.DeliverResponse_Welcome{
			Welcome: &hawserv1.Welcome{DurableSequence: uint64(len(s.f.arrived))}}}
	case *hawserv1.DeliverRequest_Batch:
		if s.f.cutAt > 0 && len(s.f.arrived) == s.f.cutAt {
			s.f.cutAt = 0
			close(s.cut)
			return io.EOF
		}
		s.f.arrived = append(s.f.arrived, time.Now())
		s.answers <- &hawserv1.DeliverResponse{Frame: &hawserv1.DeliverResponse_Receipt{
			Receipt: &hawserv1.Receipt{DurableSequence: uint64(len(s.f.arrived))}}}
	}
	return nil
}

func (s *fakeStream) RecvMsg(m any) error {
	select {
	case a, ok := <-s.answers:
		if !ok {
			return io.EOF
		}
		proto.Merge(m.(*hawserv1.DeliverResponse), a)
		return nil
	case <-s.cut:
		return status.Error(codes.Unavailable, "connection reset")
	case <-s.ctx.Done():
		return status.FromContextError(s.ctx.Err()).Err()
	}
}

func (s *fakeStream) CloseSend() error {
	close(s.answers)
	return nil
}

// Blocks a second of event time apart go out a second apart, or faster by the
// pace; a lost connection does not shift what follows.
func TestPace(t *testing.T) {
	for _, test := range []struct {
		name  string
		pace  float64
		step  time.Duration
		cutAt int
	}{
		{"as fast as it goes", 0, 0, 0},
		{"as recorded", 1, time.Second, 0},
		{"four times faster", 4, 250 * time.Millisecond, 0},
		{"half as fast", 0.5, 2 * time.Second, 0},
		{"with a cut", 1, time.Second, 3},
	} {
		t.Run(test.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := &fakeServer{cutAt: test.cutAt}
				o := options()
				o.Pace = test.pace
				begun := time.Now()
				sum, err := edge.Send(t.Context(), f, recording(6, 2), o)
				if err != nil || sum.Batches != 6 {
					t.Fatalf("sent %d: %v", sum.Batches, err)
				}
				for i, at := range f.arrived {
					late := at.Sub(begun) - time.Duration(i)*test.step
					if late < 0 || late > 50*time.Millisecond || late != 0 && i != test.cutAt {
						t.Errorf("batch %d went at %v, want %v", i+1, at.Sub(begun), time.Duration(i)*test.step)
					}
				}
				if wantCuts := min(test.cutAt, 1); sum.Reconnects != wantCuts {
					t.Errorf("%d reconnects, want %d", sum.Reconnects, wantCuts)
				}
			})
		})
	}
}

// The wait between tries doubles up to its bound, is never less than half of
// that, and GiveUpAfter ends it.
func TestBackoff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		down := status.Error(codes.Unavailable, "no route to host")
		f := &fakeServer{refuse: []error{down, down, down, down, down, down}}
		o := options()
		o.Backoff(100*time.Millisecond, 400*time.Millisecond)
		sum, err := edge.Send(t.Context(), f, recording(1, 1), o)
		if err != nil || sum.Reconnects != 6 {
			t.Fatalf("%d reconnects: %v", sum.Reconnects, err)
		}
		for i, most := range []time.Duration{100, 200, 400, 400, 400, 400} {
			most *= time.Millisecond
			if wait := f.tries[i+1].Sub(f.tries[i]); wait < most/2 || wait > most {
				t.Errorf("wait %d was %v, want %v to %v", i+1, wait, most/2, most)
			}
		}
	})
}

func TestGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeServer{}
		for range 1000 {
			f.refuse = append(f.refuse, status.Error(codes.Unavailable, "no route to host"))
		}
		o := options()
		o.Backoff(time.Second, time.Second)
		o.GiveUpAfter = time.Minute
		begun := time.Now()
		var seen error
		o.Progress = func(p edge.Progress) { seen = p.Err }
		_, err := edge.Send(t.Context(), f, recording(1, 1), o)
		if status.Code(err) != codes.Unavailable || !errors.Is(seen, err) {
			t.Errorf("got %v, progress saw %v", err, seen)
		}
		if took := time.Since(begun); took < time.Minute || took > 62*time.Second {
			t.Errorf("gave up after %v, want a minute", took)
		}
	})
}

// A connection that was good and quiet for long before it was lost is no reason
// to give up sooner.
func TestQuietSourceDoesNotGiveUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeServer{cutAt: 1}
		o := options()
		o.GiveUpAfter = time.Minute
		next := recording(2, 1)
		sum, err := edge.Send(t.Context(), f, func() (*reading.Block, error) {
			b, err := next()
			if err == nil && b.Sequence == 2 {
				<-time.After(time.Hour)
			}
			return b, err
		}, o)
		if err != nil || sum.Batches != 2 || sum.Reconnects != 1 {
			t.Errorf("got %+v: %v", sum, err)
		}
	})
}

// Coming back does not ask to replace the plan again: someone may have changed
// it since.
func TestReplacesPlanOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeServer{cutAt: 2, refuse: []error{status.Error(codes.Unavailable, "starting")}}
		o := options()
		o.ReplacePlan = true
		if _, err := edge.Send(t.Context(), f, recording(5, 1), o); err != nil {
			t.Fatal(err)
		}
		if len(f.hellos) != 2 || !f.hellos[0].GetReplacePlan() || f.hellos[1].GetReplacePlan() {
			t.Errorf("hellos are %v", f.hellos)
		}
	})
}
