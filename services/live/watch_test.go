package live_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// realBoard runs on the time package's clock, which synctest moves.
func realBoard(t *testing.T) *live.Board {
	t.Helper()
	b, err := live.New(live.Options{Registerer: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	b.SetPlan("east-3", plan("east-3"))
	return b
}

// seen is the loads a reader was shown.
type seen struct {
	mu    sync.Mutex
	loads []float64
}

func (s *seen) add(p []*hawserv1.BerthPicture) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.loads = append(s.loads, p[0].Lines[0].GetTensionKn())
}

func (s *seen) all() []float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.loads)
}

func feed(b *live.Board, n int) {
	b.Update("east-3", time.Now(), block(series("1/tension", []int64{at(time.Duration(n) * time.Millisecond)}, float64(n))))
}

func TestWatchIsCoalescedAndNeverMissesTheNewest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := realBoard(t)
		ctx, cancel := context.WithCancel(t.Context())
		var shown seen
		ended := make(chan error)
		go func() {
			ended <- b.Watch(ctx, "", 500*time.Millisecond, func(p []*hawserv1.BerthPicture) error {
				shown.add(p)
				return nil
			})
		}()
		synctest.Wait()
		for n := 1; n <= 100; n++ { // 100 blocks in 1 s
			feed(b, n)
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(600 * time.Millisecond)
		synctest.Wait()
		got := shown.all()
		// At once, then every 500 ms while there was news: at most 4 in 1.6 s.
		if len(got) < 3 || len(got) > 4 || got[len(got)-1] != 100 {
			t.Errorf("pictures: %v", got)
		}
		n := len(got)
		time.Sleep(10 * time.Second) // no news: a picture every 2 s for the ages
		synctest.Wait()
		if more := len(shown.all()) - n; more < 4 || more > 5 {
			t.Errorf("%d pictures in 10 s without news, want one every 2 s", more)
		}
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("ended with %v", err)
		}
	})
}

func TestASlowReaderHoldsUpNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := realBoard(t)
		hold := make(chan struct{})
		var slow, quick seen
		watch := func(shown *seen, hold <-chan struct{}) <-chan error {
			ended := make(chan error, 1)
			go func() {
				ended <- b.Watch(context.Background(), "", 100*time.Millisecond, func(p []*hawserv1.BerthPicture) error {
					if hold != nil {
						<-hold
					}
					shown.add(p)
					return nil
				})
			}()
			return ended
		}
		slowEnded, quickEnded := watch(&slow, hold), watch(&quick, nil)
		synctest.Wait()
		for n := 1; n <= 50; n++ {
			feed(b, n)
			time.Sleep(100 * time.Millisecond)
		}
		synctest.Wait()
		if got := quick.all(); len(got) < 45 || got[len(got)-1] != 50 {
			t.Errorf("the quick reader got %v", got)
		}
		close(hold)
		time.Sleep(time.Second)
		synctest.Wait()
		if got := slow.all(); len(got) < 2 || got[1] != 50 {
			t.Errorf("the slow reader got %v, want the newest second", got)
		}
		if err := errors.Join(b.Close(), b.Close()); err != nil {
			t.Error(err)
		}
		for _, ended := range []<-chan error{slowEnded, quickEnded} {
			if err := <-ended; !errors.Is(err, live.ErrClosed) {
				t.Errorf("ended with %v", err)
			}
		}
	})
}

// serve serves a board to a client, both gone at the test's end.
func serve(t *testing.T, b *live.Board) hawserv1.LiveServiceClient {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	live.NewService(b, nil).Register(server)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		conn.Close()
		server.Stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	return hawserv1.NewLiveServiceClient(conn)
}

// More berths than a terminal has fit into what a client takes, without the
// courses; those of one berth are there.
func TestManyBerthsFitIntoAMessage(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	defer b.Close()
	p := plan("")
	for len(p.Lines) < 20 {
		p.Lines = append(p.Lines, p.Lines[0])
		p.Lines[len(p.Lines)-1].ID = fmt.Sprint(len(p.Lines))
	}
	for n := range 300 {
		berth := fmt.Sprintf("pier-%03d", n)
		b.SetPlan(berth, p)
		blk := block()
		for _, l := range p.Lines {
			s := series(l.ID+"/tension", nil)
			for second := range 600 {
				s.Time, s.Value = append(s.Time, at(time.Duration(second)*time.Second)), append(s.Value, 95+float64(second%7))
			}
			blk.Series = append(blk.Series, s)
		}
		b.Update(berth, w.t, blk)
	}
	client := serve(t, b)
	all, err := client.ListBerths(t.Context(), &hawserv1.ListBerthsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	stream, err := client.WatchBerths(t.Context(), &hawserv1.WatchBerthsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	watched, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	one, err := client.ListBerths(t.Context(), &hawserv1.ListBerthsRequest{Berth: "pier-299"})
	if err != nil {
		t.Fatal(err)
	}
	full := one.Berths[0]
	if len(full.Lines) != 20 || len(full.Lines[4].Course) != 60 {
		t.Errorf("one berth: %d lines, a course of %d points", len(full.Lines), len(full.Lines[4].Course))
	}
	for _, l := range full.Lines {
		l.Course = nil
	}
	for _, got := range [][]*hawserv1.BerthPicture{all.Berths, watched.Berths} {
		if len(got) != 301 {
			t.Fatalf("%d berths, want 301", len(got))
		}
		if !proto.Equal(got[300], full) {
			t.Errorf("a berth among all: %v\nalone, without courses: %v", got[300], full)
		}
	}
}

func TestService(t *testing.T) {
	b := realBoard(t)
	b.SetPlan("west-1", plan("west-1"))
	client := serve(t, b)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()

	feed(b, 42)
	list, err := client.ListBerths(ctx, &hawserv1.ListBerthsRequest{})
	if err != nil || len(list.Berths) != 2 || list.Berths[0].Lines[0].GetTensionKn() != 42 {
		t.Errorf("list: %v, %v", list, err)
	}
	if _, err := client.ListBerths(ctx, &hawserv1.ListBerthsRequest{Berth: "A B"}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("berth that is none: %v", err)
	}
	stream, err := client.WatchBerths(ctx, &hawserv1.WatchBerthsRequest{Berth: "east-3", IntervalMs: 1})
	if err != nil {
		t.Fatal(err)
	}
	first, err := stream.Recv()
	if err != nil || len(first.Berths) != 1 {
		t.Fatalf("first: %v, %v", first, err)
	}
	feed(b, 43)
	for {
		p, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if p.Berths[0].Lines[0].GetTensionKn() == 43 {
			break
		}
	}
	b.Close()
	for err == nil {
		_, err = stream.Recv()
	}
	if status.Code(err) != codes.Unavailable {
		t.Errorf("after close: %v", err)
	}
	stream, err = client.WatchBerths(ctx, &hawserv1.WatchBerthsRequest{IntervalMs: 60001})
	if err == nil {
		_, err = stream.Recv()
	}
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("interval over a minute: %v", err)
	}
}
