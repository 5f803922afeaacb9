package history_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"net"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/tsdb"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/history"
)

var four = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// served is a client of a history service.
func served(t *testing.T, s history.Store, access history.Access) hawserv1.HistoryServiceClient {
	t.Helper()
	listen := bufconn.Listen(1 << 20)
	server := grpc.NewServer()
	history.NewService(s, access, slog.New(slog.DiscardHandler)).Register(server)
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listen) }()
	conn, err := grpc.NewClient("passthrough:history", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(context.Context, string) (net.Conn, error) { return listen.Dial() }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		server.Stop()
		if err := errors.Join(<-ended, conn.Close()); err != nil {
			t.Error(err)
		}
	})
	return hawserv1.NewHistoryServiceClient(conn)
}

// ask puts the pieces of each channel together.
func ask(t *testing.T, c hawserv1.HistoryServiceClient, req *hawserv1.QueryHistoryRequest) (map[string]*hawserv1.QueryHistoryResponse, error) {
	t.Helper()
	stream, err := c.QueryHistory(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	out := make(map[string]*hawserv1.QueryHistoryResponse)
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		if size := proto.Size(m); size > 256<<10 {
			t.Errorf("a message of %d bytes", size)
		}
		whole := out[m.Channel]
		if whole == nil {
			out[m.Channel] = m
			continue
		}
		whole.TimeUnixNs, whole.Value = append(whole.TimeUnixNs, m.TimeUnixNs...), append(whole.Value, m.Value...)
		whole.Min, whole.Max = append(whole.Min, m.Min...), append(whole.Max, m.Max...)
		whole.Std, whole.Count = append(whole.Std, m.Std...), append(whole.Count, m.Count...)
	}
}

// Three hours of two channels through a real store: every reading once, and steps
// that do not fall on the windows' ends once each. The readings are 0, 1, 2 and so on
// each second, so a step of 7 s has the mean of its second and third reading, and the
// standard deviation 2 (of seven whole numbers in a row: the root of (7² - 1)/12).
func TestCoursesStream(t *testing.T) {
	const seconds = 3 * 3600
	s, err := tsdb.Open(tsdb.Options{Dir: t.TempDir(), Now: func() time.Time { return four.Add(24 * time.Hour) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	tension := reading.Series{Channel: reading.Channel{Line: "7", Kind: reading.Tension}}
	for i := range seconds {
		tension.Time, tension.Value = append(tension.Time, four.Add(time.Duration(i)*time.Second).UnixNano()), append(tension.Value, float64(i))
	}
	wind := reading.Series{Channel: reading.Channel{Kind: reading.WindSpeed}, Time: tension.Time[:1], Value: []float64{9}}
	if err := s.Append(t.Context(), "east-3", &reading.Block{Series: []reading.Series{tension, wind}}); err != nil {
		t.Fatal(err)
	}
	c := served(t, s, nil)
	req := &hawserv1.QueryHistoryRequest{
		Berth: "east-3", Channels: []string{"wind/speed", "7/tension", "8/tension"},
		From: timestamppb.New(four), To: timestamppb.New(four.Add(24 * time.Hour)),
	}
	got, err := ask(t, c, req)
	if err != nil || len(got) != 2 || got["wind/speed"].Unit != "m/s" {
		t.Fatalf("%d channels, %v", len(got), err)
	}
	if g := got["7/tension"]; !slices.Equal(g.Value, tension.Value) || !slices.Equal(g.TimeUnixNs, tension.Time) || g.Step != nil || g.Std != nil {
		t.Errorf("%d readings from %v, want %d", len(g.Value), g.Value[0], seconds)
	}

	req.Resolution = &hawserv1.QueryHistoryRequest_Step{Step: durationpb.New(7 * time.Second)}
	if got, err = ask(t, c, req); err != nil {
		t.Fatal(err)
	}
	g := got["7/tension"]
	if !slices.IsSorted(g.TimeUnixNs) || len(g.TimeUnixNs) != len(slices.Compact(slices.Clone(g.TimeUnixNs))) {
		t.Error("steps come twice or out of order")
	}
	total := int64(0)
	for i, n := range g.Count {
		total += n
		if n == 7 && (math.Abs(g.Std[i]-2) > 1e-12 || g.Value[i] != (g.Min[i]+g.Max[i])/2 || g.Max[i]-g.Min[i] != 6) {
			t.Fatalf("step %d: %v to %v, mean %v, std %v", i, g.Min[i], g.Max[i], g.Value[i], g.Std[i])
		}
	}
	if total != seconds || g.Step.AsDuration() != 7*time.Second {
		t.Errorf("%d readings in steps of %s, want %d", total, g.Step.AsDuration(), seconds)
	}

	req.Resolution = &hawserv1.QueryHistoryRequest_Points{Points: 100}
	if got, err = ask(t, c, req); err != nil || len(got["7/tension"].Value) > 100 || got["7/tension"].Step.AsDuration() != 20*time.Minute {
		t.Errorf("a drawing: %v", err)
	}
}

func TestServiceRefuses(t *testing.T) {
	good := func() *hawserv1.QueryHistoryRequest {
		return &hawserv1.QueryHistoryRequest{Berth: "east-3", Channels: []string{"7/tension"},
			From: timestamppb.New(four), To: timestamppb.New(four.Add(time.Hour))}
	}
	for name, c := range map[string]struct {
		spoil func(*hawserv1.QueryHistoryRequest)
		store answers
		code  codes.Code
	}{
		"no channel":      {spoil: func(r *hawserv1.QueryHistoryRequest) { r.Channels = nil }, code: codes.InvalidArgument},
		"no such channel": {spoil: func(r *hawserv1.QueryHistoryRequest) { r.Channels = []string{"7/load"} }, code: codes.InvalidArgument},
		"backwards":       {spoil: func(r *hawserv1.QueryHistoryRequest) { r.To = r.From }, code: codes.InvalidArgument},
		"step too fine": {spoil: func(r *hawserv1.QueryHistoryRequest) {
			r.Resolution = &hawserv1.QueryHistoryRequest_Step{Step: durationpb.New(time.Microsecond)}
		}, code: codes.InvalidArgument},
		"not hers":        {spoil: func(r *hawserv1.QueryHistoryRequest) { r.Berth = "east-4" }, code: codes.PermissionDenied},
		"too many points": {spoil: func(*hawserv1.QueryHistoryRequest) {}, store: answers{err: store.ErrTooManyPoints}, code: codes.ResourceExhausted},
		"store away":      {spoil: func(*hawserv1.QueryHistoryRequest) {}, store: answers{err: &store.Unavailable{Err: errors.New("no")}}, code: codes.Unavailable},
	} {
		req := good()
		c.spoil(req)
		if _, err := ask(t, served(t, &c.store, sight{}), req); status.Code(err) != c.code {
			t.Errorf("%s: %v, want %s", name, err, c.code)
		}
	}
}

// A ship is told from when she came, from the first whole step after.
func TestServiceBeginsWithTheCallersTime(t *testing.T) {
	s := &answers{}
	req := &hawserv1.QueryHistoryRequest{Berth: "east-3", Channels: []string{"7/tension"},
		From: timestamppb.New(four), To: timestamppb.New(four.Add(time.Hour)),
		Resolution: &hawserv1.QueryHistoryRequest_Step{Step: durationpb.New(10 * time.Minute)}}
	if _, err := ask(t, served(t, s, sight{four.Add(12 * time.Minute)}), req); err != nil {
		t.Fatal(err)
	}
	if len(s.asked) != 1 || !s.asked[0].From.Equal(four.Add(20*time.Minute)) {
		t.Errorf("asked %+v", s.asked)
	}
}
