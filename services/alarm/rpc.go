package alarm

import (
	"context"
	"errors"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	hawserv1 "hawser/proto/hawser/v1"
)

// Service is the AlarmService over a Log.
type Service struct {
	hawserv1.UnimplementedAlarmServiceServer
	log    *Log
	access Access
}

// NewService serves a log, to everybody where access is nil.
func NewService(l *Log, access Access) *Service { return &Service{log: l, access: access} }

// Register adds the service to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterAlarmServiceServer(r, s) }

func validate(m proto.Message) error {
	if err := protovalidate.Validate(m); err != nil {
		return status.Error(codes.InvalidArgument, err.Error())
	}
	return nil
}

const maxPage = 1000

// ListAlarms gives alarms, worst first.
func (s *Service) ListAlarms(ctx context.Context, req *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	alarms, position := s.log.List(req.Berth, req.IncludeCleared)
	alarms = Seen(ctx, s.access, alarms)
	limit := int(req.PageSize)
	if limit == 0 {
		limit = maxPage
	}
	resp := &hawserv1.ListAlarmsResponse{Position: position}
	for i := range alarms[:min(limit, len(alarms))] {
		resp.Alarms = append(resp.Alarms, alarms[i].Message())
	}
	return resp, nil
}

// WatchAlarms streams the records of the log.
func (s *Service) WatchAlarms(req *hawserv1.WatchAlarmsRequest, stream grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]) error {
	if err := validate(req); err != nil {
		return err
	}
	ctx := stream.Context()
	return toStatus(s.log.Watch(ctx, req.Berth, req.AfterPosition, func(r *Record) error {
		if !s.seen(ctx, r) {
			return nil
		}
		return stream.Send(&hawserv1.WatchAlarmsResponse{Record: r.Message()})
	}))
}

// AcknowledgeAlarm records who takes an alarm on.
func (s *Service) AcknowledgeAlarm(ctx context.Context, req *hawserv1.AcknowledgeAlarmRequest) (*hawserv1.AcknowledgeAlarmResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	after, err := s.log.Acknowledge(ctx, req.AlarmId, Signed(ctx, s.access, req.By), req.Note)
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.AcknowledgeAlarmResponse{Alarm: after.Message()}, nil
}

// toStatus gives an error its code. What has none yet is of the log below, and
// the caller can try again.
func toStatus(err error) error {
	var taken *TakenError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &taken):
		return status.Error(codes.AlreadyExists, err.Error())
	case errors.Is(err, ErrUnknown):
		return status.Error(codes.NotFound, err.Error())
	case errors.Is(err, ErrNoName):
		return status.Error(codes.InvalidArgument, err.Error())
	case errors.Is(err, ErrAhead):
		return status.Error(codes.OutOfRange, err.Error())
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err).Err()
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	return status.Error(codes.Unavailable, err.Error())
}

// Message is the state as its message.
func (s *State) Message() *hawserv1.Alarm {
	return &hawserv1.Alarm{
		AlarmId: s.ID, Berth: s.Berth, Condition: s.Condition, Line: s.Line, Group: s.Group,
		Priority: hawserv1.AlarmPriority(s.Priority), RaisedAt: stamp(s.Raised), Onset: stamp(s.Onset),
		ClearedAt: stamp(s.Cleared), AcknowledgedAt: stamp(s.Acknowledged), AcknowledgedBy: s.By, Note: s.Note,
		Value: optional(s.Value, s.HasValue), Limit: optional(s.Limit, s.HasLimit), Unit: s.Unit, Detail: s.Detail,
	}
}
