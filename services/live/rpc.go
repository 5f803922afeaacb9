package live

import (
	"context"
	"errors"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	hawserv1 "hawser/proto/hawser/v1"
)

// Service is the LiveService over a Board. Safe for concurrent use.
type Service struct {
	hawserv1.UnimplementedLiveServiceServer
	board *Board
}

// NewService serves a board.
func NewService(b *Board) *Service { return &Service{board: b} }

// Register adds the service to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterLiveServiceServer(r, s) }

// ListBerths gives the present picture.
func (s *Service) ListBerths(_ context.Context, req *hawserv1.ListBerthsRequest) (*hawserv1.ListBerthsResponse, error) {
	if err := protovalidate.Validate(req); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	return &hawserv1.ListBerthsResponse{Berths: s.board.Pictures(req.Berth)}, nil
}

// WatchBerths streams the picture.
func (s *Service) WatchBerths(req *hawserv1.WatchBerthsRequest, stream grpc.ServerStreamingServer[hawserv1.WatchBerthsResponse]) error {
	if err := protovalidate.Validate(req); err != nil {
		return status.Error(codes.InvalidArgument, err.Error())
	}
	interval := time.Duration(req.IntervalMs) * time.Millisecond
	err := s.board.Watch(stream.Context(), req.Berth, interval, func(p []*hawserv1.BerthPicture) error {
		return stream.Send(&hawserv1.WatchBerthsResponse{Berths: p})
	})
	switch {
	case errors.Is(err, ErrClosed):
		return status.Error(codes.Unavailable, err.Error())
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err).Err()
	}
	return err
}
