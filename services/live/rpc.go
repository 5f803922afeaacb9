package live

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	hawserv1 "hawser/proto/hawser/v1"
)

// Service is the LiveService over a Board. Safe for concurrent use.
type Service struct {
	hawserv1.UnimplementedLiveServiceServer
	board  *Board
	access Access

	mu     sync.Mutex
	newest map[string]encoded // by the berth asked for
}

// encoded is an answer as it goes out, with the pictures that it is of.
type encoded struct {
	of     []*hawserv1.BerthPicture
	answer *hawserv1.WatchBerthsResponse
}

// Access says what the caller of a call may see. It finds the caller in the
// call's context.
type Access interface {
	// SeesShip reports whether the caller may see a berth while this ship is there.
	SeesShip(ctx context.Context, berth, ship string) bool
}

// NewService serves a board, to everybody where access is nil.
func NewService(b *Board, access Access) *Service {
	return &Service{board: b, access: access, newest: map[string]encoded{}}
}

// Seen gives those pictures that the caller may see, all where access is nil. The
// pictures given are left as they are.
func Seen(ctx context.Context, access Access, pictures []*hawserv1.BerthPicture) []*hawserv1.BerthPicture {
	if access == nil {
		return pictures
	}
	var seen []*hawserv1.BerthPicture
	for _, p := range pictures {
		if access.SeesShip(ctx, p.Berth, p.Ship) {
			seen = append(seen, p)
		}
	}
	return seen
}

// Register adds the service to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterLiveServiceServer(r, s) }

// mostBytes is the size of a message up to which it has the courses of its lines. A
// client takes 4 MiB unless it says otherwise.
const mostBytes = 1 << 20

// fit leaves the courses out of pictures that are too many for one message.
func fit(pictures []*hawserv1.BerthPicture) []*hawserv1.BerthPicture {
	size := 0
	for _, p := range pictures {
		size += proto.Size(p)
	}
	if size <= mostBytes {
		return pictures
	}
	out := make([]*hawserv1.BerthPicture, len(pictures))
	for i, p := range pictures {
		out[i] = without(p, "lines")
		for _, l := range p.Lines {
			out[i].Lines = append(out[i].Lines, without(l, "course"))
		}
	}
	return out
}

// without is a message that shares all but one field with m.
func without[M proto.Message](m M, field protoreflect.Name) M {
	out := m.ProtoReflect().New()
	m.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if f.Name() != field {
			out.Set(f, v)
		}
		return true
	})
	return out.Interface().(M)
}

// answer is the answer with these pictures for those who ask for a berth, encoded once
// for all viewers that see the same, and one at a time: thousands of them take no more of
// the machine than that from the watch.
func (s *Service) answer(berth string, pictures []*hawserv1.BerthPicture) (*hawserv1.WatchBerthsResponse, error) {
	if len(pictures) == 0 {
		return &hawserv1.WatchBerthsResponse{}, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if e := s.newest[berth]; slices.Equal(e.of, pictures) {
		return e.answer, nil
	}
	data, err := proto.Marshal(&hawserv1.WatchBerthsResponse{Berths: fit(pictures)})
	if err != nil {
		return nil, err
	}
	a := &hawserv1.WatchBerthsResponse{}
	a.ProtoReflect().SetUnknown(data) // bytes that are copied as they are
	s.newest[berth] = encoded{pictures, a}
	return a, nil
}

// ListBerths gives the present picture.
func (s *Service) ListBerths(ctx context.Context, req *hawserv1.ListBerthsRequest) (*hawserv1.ListBerthsResponse, error) {
	if err := protovalidate.Validate(req); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	return &hawserv1.ListBerthsResponse{Berths: fit(Seen(ctx, s.access, s.board.Pictures(req.Berth)))}, nil
}

// WatchBerths streams the picture.
func (s *Service) WatchBerths(req *hawserv1.WatchBerthsRequest, stream grpc.ServerStreamingServer[hawserv1.WatchBerthsResponse]) error {
	if err := protovalidate.Validate(req); err != nil {
		return status.Error(codes.InvalidArgument, err.Error())
	}
	interval := time.Duration(req.IntervalMs) * time.Millisecond
	ctx := stream.Context()
	err := s.board.Watch(ctx, req.Berth, interval, func(p []*hawserv1.BerthPicture) error {
		a, err := s.answer(req.Berth, Seen(ctx, s.access, p))
		if err != nil {
			return err
		}
		return stream.Send(a)
	})
	switch {
	case errors.Is(err, ErrClosed):
		return status.Error(codes.Unavailable, err.Error())
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err).Err()
	}
	return err
}
