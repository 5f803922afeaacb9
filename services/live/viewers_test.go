package live_test

import (
	"context"
	"io"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// viewer is a stream that encodes what it is sent, as a connection does, and ends.
type viewer struct {
	grpc.ServerStream
	ctx     context.Context
	sent    *hawserv1.WatchBerthsResponse
	encoded []byte
}

func (v *viewer) Context() context.Context { return v.ctx }

func (v *viewer) Send(m *hawserv1.WatchBerthsResponse) (err error) {
	v.sent = m
	if v.encoded, err = proto.Marshal(m); err != nil {
		return err
	}
	return io.EOF
}

// crowded is a service over a berth with ten minutes of loads.
func crowded(tb testing.TB) (*live.Board, *live.Service) {
	tb.Helper()
	w := newWall()
	b, _ := board(tb, w)
	for n := range 600 {
		b.Update("east-3", w.now(), block(series("1/tension", []int64{at(time.Duration(n) * time.Second)}, float64(n))))
	}
	return b, live.NewService(b, nil)
}

func look(tb testing.TB, s *live.Service, berth string) *viewer {
	tb.Helper()
	v := &viewer{ctx: tb.Context()}
	if err := s.WatchBerths(&hawserv1.WatchBerthsRequest{Berth: berth}, v); err != io.EOF {
		tb.Fatal(err)
	}
	return v
}

// Viewers that see the same are sent the same, encoded once; one of another berth, and
// one after the next readings, are not.
func TestViewersShareWhatIsEncoded(t *testing.T) {
	b, s := crowded(t)
	first, second, elsewhere := look(t, s, "east-3"), look(t, s, "east-3"), look(t, s, "east-4")
	if first.sent != second.sent {
		t.Error("the same picture was encoded twice")
	}
	if len(elsewhere.encoded) > 0 {
		t.Errorf("of a berth that is not there %d bytes were sent", len(elsewhere.encoded))
	}
	b.Update("east-3", newWall().now(), block(series("1/tension", []int64{at(time.Hour)}, 7)))
	var got hawserv1.WatchBerthsResponse
	if err := proto.Unmarshal(look(t, s, "east-3").encoded, &got); err != nil {
		t.Fatal(err)
	}
	want := &hawserv1.WatchBerthsResponse{Berths: b.Pictures("east-3")}
	if !proto.Equal(&got, want) || got.Berths[0].Lines[0].GetTensionKn() != 7 {
		t.Errorf("sent is\n%v\nwant\n%v", &got, want)
	}
}

// A picture shown to a thousand viewers.
func BenchmarkThousandViewers(b *testing.B) {
	board, s := crowded(b)
	for n := 0; b.Loop(); n++ {
		board.Update("east-3", newWall().now(), block(series("1/tension", []int64{at(time.Duration(600_000+n) * time.Millisecond)}, 1)))
		for range 1000 {
			look(b, s, "east-3")
		}
	}
}
