package intake

import (
	"context"
	"errors"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

type stream = grpc.BidiStreamingServer[hawserv1.DeliverRequest, hawserv1.DeliverResponse]

// hello waits for the stream's first frame and checks its form.
func (s *Server) hello(ctx context.Context, in stream) (*hawserv1.Hello, error) {
	type frame struct {
		req *hawserv1.DeliverRequest
		err error
	}
	first := make(chan frame, 1)
	s.work.Go(func() { // ends with the frame, or with the stream when the handler returns
		req, err := in.Recv()
		first <- frame{req, err}
	})
	silent := time.NewTimer(s.o.limits.HelloTimeout)
	defer silent.Stop()
	select {
	case f := <-first:
		if f.err != nil {
			return nil, f.err
		}
		h := f.req.GetHello()
		if h == nil {
			return nil, wrongHello("frame", "the first frame must be a hello")
		}
		return h, s.checkHello(h)
	case <-silent.C:
		return nil, status.Errorf(codes.DeadlineExceeded, "no hello within %v", s.o.limits.HelloTimeout)
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// checkHello holds a Hello against the constraints of the schema.
func (s *Server) checkHello(h *hawserv1.Hello) error {
	err := s.o.Validator.Validate(h)
	var invalid *protovalidate.ValidationError
	switch {
	case errors.As(err, &invalid) && len(invalid.Violations) > 0:
		bad := &errdetails.BadRequest{}
		for _, v := range invalid.Violations[:min(len(invalid.Violations), maxViolations)] {
			bad.FieldViolations = append(bad.FieldViolations, violation(
				"hello."+protovalidate.FieldPathString(v.Proto.GetField()), reasonBadHello, v.Proto.GetMessage()))
		}
		first := bad.GetFieldViolations()[0]
		return withDetails(codes.InvalidArgument, first.GetField()+": "+first.GetDescription(), reasonBadHello, nil, bad)
	case err != nil:
		return status.Errorf(codes.Internal, "check hello: %v", err)
	case h.GetPlan() != nil && h.GetPlan().GetBerth() != h.GetBerth():
		return wrongHello("hello.plan.berth", "the plan is of berth "+h.GetPlan().GetBerth()+", the hello of "+h.GetBerth())
	}
	return nil
}

func wrongHello(field, text string) error {
	return withDetails(codes.InvalidArgument, field+": "+text, reasonBadHello, nil,
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{violation(field, reasonBadHello, text)}})
}

// settlePlan finds the plan a stream is checked by, putting the berth under the
// source's plan where it has none or the source asks to replace it.
func (s *Server) settlePlan(ctx context.Context, h *hawserv1.Hello) (planbook.Entry, error) {
	berth := h.GetBerth()
	if h.GetPlan() == nil {
		if e, ok := s.o.Plans.Current(berth); ok {
			return e, nil
		}
		return planbook.Entry{}, withDetails(codes.FailedPrecondition,
			"berth "+berth+": not under any plan; send the mooring plan with the hello", reasonNoPlan, nil)
	}
	if _, err := planfile.FromProto(h.GetPlan()); err != nil {
		return planbook.Entry{}, wrongHello("hello.plan", err.Error())
	}
	e, err := s.o.Plans.Put(ctx, h.GetPlan(), planbook.Terms{Replace: h.GetReplacePlan(), By: h.GetSource()})
	switch {
	case errors.Is(err, planbook.ErrOtherPlan):
		return e, withDetails(codes.FailedPrecondition, err.Error(), reasonOtherPlan, nil)
	case errors.Is(err, planbook.ErrFull):
		return e, status.Errorf(codes.ResourceExhausted, "berth %s: %v", berth, err)
	case err != nil:
		return e, unavailable("%v", err)
	}
	return e, nil
}
