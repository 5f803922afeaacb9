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

// person is who a request says does something, as far as the caller may say so.
func (s *Service) person(ctx context.Context, by string, side hawserv1.AlarmSide) Person {
	return Sign(ctx, s.access, Person{By: by, Side: sideOf(side)})
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
	for _, h := range SeenHolds(ctx, s.access, s.log.Holds(req.Berth)) {
		resp.Holds = append(resp.Holds, h.Message())
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
	after, err := s.log.Acknowledge(ctx, req.AlarmId, s.person(ctx, req.By, req.Side), req.Note)
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.AcknowledgeAlarmResponse{Alarm: after.Message()}, nil
}

// NoteAlarm records what somebody has to say about an alarm.
func (s *Service) NoteAlarm(ctx context.Context, req *hawserv1.NoteAlarmRequest) (*hawserv1.NoteAlarmResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	after, err := s.log.WriteNote(ctx, req.AlarmId, s.person(ctx, req.By, req.Side), req.Text)
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.NoteAlarmResponse{Alarm: after.Message()}, nil
}

// ShelveAlarm keeps an alarm quiet for a time.
func (s *Service) ShelveAlarm(ctx context.Context, req *hawserv1.ShelveAlarmRequest) (*hawserv1.ShelveAlarmResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	after, err := s.log.Shelve(ctx, req.AlarmId, s.person(ctx, req.By, req.Side), req.Reason, req.Period.AsDuration())
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.ShelveAlarmResponse{Alarm: after.Message()}, nil
}

// ResetAlarm ends the alarm of a parting on somebody's word.
func (s *Service) ResetAlarm(ctx context.Context, req *hawserv1.ResetAlarmRequest) (*hawserv1.ResetAlarmResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	after, err := s.log.Reset(ctx, req.AlarmId, s.person(ctx, req.By, req.Side), req.Reason)
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.ResetAlarmResponse{Alarm: after.Message()}, nil
}

// TakeOutOfService keeps a line's alarms quiet until they are put back.
func (s *Service) TakeOutOfService(ctx context.Context, req *hawserv1.TakeOutOfServiceRequest) (*hawserv1.TakeOutOfServiceResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	hold, err := s.log.TakeOutOfService(ctx, Subject{Berth: req.Berth, Line: req.Line, Condition: req.Condition},
		s.person(ctx, req.By, req.Side), req.Reason)
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.TakeOutOfServiceResponse{Hold: hold.Message()}, nil
}

// EndHold ends a shelf or puts back what is out of service.
func (s *Service) EndHold(ctx context.Context, req *hawserv1.EndHoldRequest) (*hawserv1.EndHoldResponse, error) {
	if err := validate(req); err != nil {
		return nil, err
	}
	err := s.log.EndHold(ctx, Subject{Berth: req.Berth, Condition: req.Condition, Line: req.Line, Group: req.Group, Source: req.Source},
		s.person(ctx, req.By, req.Side), req.Note)
	if err != nil {
		return nil, toStatus(err)
	}
	return &hawserv1.EndHoldResponse{}, nil
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
	case errors.Is(err, ErrUnknown), errors.Is(err, ErrNotHeld):
		return status.Error(codes.NotFound, err.Error())
	case errors.Is(err, ErrNoName), errors.Is(err, ErrNoReason), errors.Is(err, ErrNoText), errors.Is(err, ErrPeriod):
		return status.Error(codes.InvalidArgument, err.Error())
	case errors.Is(err, ErrEmergency), errors.Is(err, ErrNotLatching):
		return status.Error(codes.FailedPrecondition, err.Error())
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
	m := &hawserv1.Alarm{
		AlarmId: s.ID, Berth: s.Berth, Condition: s.Condition, Line: s.Line, Group: s.Group, Source: s.Source,
		Priority: hawserv1.AlarmPriority(s.Priority), RaisedAt: stamp(s.Raised), Onset: stamp(s.Onset),
		ClearedAt: stamp(s.Cleared), Value: optional(s.Value, s.HasValue), Limit: optional(s.Limit, s.HasLimit),
		Unit: s.Unit, Detail: s.Detail, Lifecycle: hawserv1.AlarmLifecycle(s.Lifecycle()), Level: uint32(s.Level),
		ClearedDetail: s.Return.Detail,
	}
	if first := s.Acknowledged(); first != nil {
		m.AcknowledgedAt, m.AcknowledgedBy, m.Note = stamp(first.At), first.By, first.Note
	}
	for _, a := range s.Acknowledgements {
		m.Acknowledgements = append(m.Acknowledgements, &hawserv1.AlarmAcknowledgement{
			Side: hawserv1.AlarmSide(a.Side), At: stamp(a.At), By: a.By, Role: a.Role, Note: a.Note,
		})
	}
	for _, n := range s.Notes {
		m.Notes = append(m.Notes, &hawserv1.AlarmNote{Side: hawserv1.AlarmSide(n.Side), At: stamp(n.At), By: n.By, Role: n.Role, Text: n.Text})
	}
	if s.Suppressed != nil {
		m.Under = s.Suppressed.Under
	}
	if s.Hold != nil {
		m.Hold = s.Hold.Message()
	}
	return m
}

// Message is the hold as its message.
func (h *Hold) Message() *hawserv1.AlarmHold {
	return &hawserv1.AlarmHold{
		Berth: h.Berth, Condition: h.Condition, Line: h.Line, Group: h.Group, Source: h.Source,
		Since: stamp(h.Since), Until: stamp(h.Until), By: h.By, Role: h.Role, Reason: h.Reason,
	}
}
