package history

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	"hawser/detect/reading"
	"hawser/ingest/store"
	hawserv1 "hawser/proto/hawser/v1"
)

const (
	// messagePoints is the most points of a message: with six columns 200 KB.
	messagePoints = 4096
	// windowReadings is the stretch whose readings are read at once, and windowPoints
	// the number of steps.
	windowReadings = time.Hour
	windowPoints   = 20_000
)

// Service is the HistoryService over a store. Safe for concurrent use.
type Service struct {
	hawserv1.UnimplementedHistoryServiceServer
	store  Store
	access Access
	log    *slog.Logger
}

// NewService serves a store, to everybody where access is nil.
func NewService(s Store, access Access, log *slog.Logger) *Service {
	return &Service{store: s, access: access, log: log}
}

// Register adds the service to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterHistoryServiceServer(r, s) }

// QueryHistory streams courses. However long the span, no more than a window of one
// channel is in memory.
func (s *Service) QueryHistory(req *hawserv1.QueryHistoryRequest, stream grpc.ServerStreamingServer[hawserv1.QueryHistoryResponse]) error {
	if err := protovalidate.Validate(req); err != nil {
		return status.Error(codes.InvalidArgument, err.Error())
	}
	ctx := stream.Context()
	q := store.Query{
		Berth: req.Berth, From: req.From.AsTime(), To: req.To.AsTime(),
		Step: req.GetStep().AsDuration(), Points: int(req.GetPoints()),
	}
	channels := make([]reading.Channel, len(req.Channels))
	for i, name := range req.Channels {
		var err error
		if channels[i], err = reading.ParseChannel(name); err != nil {
			return status.Errorf(codes.InvalidArgument, "channels[%d]: %v", i, err)
		}
	}
	q.ChooseStep(leastStep(s.store, q.From))
	check := q
	check.MaxPoints = 1 << 30 // it is given in windows
	if _, _, _, err := check.Normalise(); err != nil {
		return status.Error(codes.InvalidArgument, err.Error())
	}
	if s.access != nil {
		since, ok := s.access.Sees(ctx, q.Berth)
		if !ok {
			return status.Errorf(codes.PermissionDenied, "berth %s: not for this caller", q.Berth)
		}
		q = from(q, since)
	}
	for _, q.Channel = range channels {
		if err := s.course(ctx, q, stream.Send); err != nil {
			return s.failed(ctx, q, err)
		}
	}
	return nil
}

// course sends one channel's course, window by window.
func (s *Service) course(ctx context.Context, q store.Query, send func(*hawserv1.QueryHistoryResponse) error) error {
	for at, end := q.From, q.To; at.Before(end); at = q.To {
		q.From, q.To = at, windowEnd(at, end, q.Step)
		results, err := s.store.Query(ctx, q)
		if err != nil {
			return err
		}
		for i := range results {
			if err := pieces(&results[i], send); err != nil {
				return err
			}
		}
	}
	return nil
}

// windowEnd is where the window that at is in ends: on a whole step from the epoch,
// or at the end of all.
func windowEnd(at, end time.Time, step time.Duration) time.Time {
	window := int64(windowReadings)
	if step > 0 {
		window = int64(min(step, math.MaxInt64/windowPoints)) * windowPoints
	}
	left := window - at.UnixNano()%window
	if left >= int64(end.Sub(at)) {
		return end
	}
	return at.Add(time.Duration(left))
}

// pieces sends a result in messages that are not too large.
func pieces(r *store.Result, send func(*hawserv1.QueryHistoryResponse) error) error {
	for lo := 0; lo < len(r.Time); lo += messagePoints {
		hi := min(lo+messagePoints, len(r.Time))
		m := &hawserv1.QueryHistoryResponse{
			Channel: r.Channel.String(), Unit: r.Channel.Kind.Unit(), TimeUnixNs: r.Time[lo:hi], Value: r.Value[lo:hi],
		}
		if r.Step > 0 {
			m.Step = durationpb.New(r.Step)
			m.Min, m.Max, m.Std, m.Count = r.Min[lo:hi], r.Max[lo:hi], r.Std[lo:hi], r.Count[lo:hi]
		}
		if err := send(m); err != nil {
			return err
		}
	}
	return nil
}

// failed is the status for an error of the store or of the stream.
func (s *Service) failed(ctx context.Context, q store.Query, err error) error {
	switch {
	case ctx.Err() != nil:
		return status.FromContextError(ctx.Err()).Err()
	case errors.Is(err, store.ErrBadQuery):
		return status.Error(codes.InvalidArgument, err.Error())
	case errors.Is(err, store.ErrTooManyPoints):
		return status.Error(codes.ResourceExhausted, fmt.Sprintf("%s: %v", q.Channel, err))
	}
	if _, ok := status.FromError(err); ok {
		return err // of the stream
	}
	s.log.Error("history not answered", "berth", q.Berth, "channel", q.Channel, "err", err)
	return status.Error(codes.Unavailable, "the store does not answer")
}
