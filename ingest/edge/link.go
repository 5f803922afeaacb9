package edge

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc"

	hawserv1 "hawser/proto/hawser/v1"
)

type stream = grpc.BidiStreamingClient[hawserv1.DeliverRequest, hawserv1.DeliverResponse]

// errEnded is a stream that the server ended for no stated reason.
var errEnded = errors.New("the server ended the stream")

// link is a stream after its Welcome.
type link struct {
	stream
	done chan struct{} // closed when the stream is no more
	err  error         // why, once done is closed
}

// connection opens a stream and sends until all is receipted, which is nil, or
// until the stream is no more.
func (s *sender) connection(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	out, err := s.client.Deliver(ctx)
	if err != nil {
		return err
	}
	if err := s.greet(out); err != nil {
		return err
	}
	s.progress(true, nil)
	l := &link{stream: out, done: make(chan struct{})}
	go func() { // ends with the stream, which cancel ends
		defer close(l.done)
		l.err = s.receive(out)
	}()
	err = s.feed(ctx, l)
	if err == nil && out.CloseSend() == nil {
		l.awaitEnd(ctx)
	}
	cancel()
	<-l.done
	return err
}

// awaitEnd lets the server end the stream in its own way, but not for long.
func (l *link) awaitEnd(ctx context.Context) {
	t := time.NewTimer(time.Second)
	defer t.Stop()
	select {
	case <-l.done:
	case <-t.C:
	case <-ctx.Done():
	}
}

// greet says Hello and takes the Welcome.
func (s *sender) greet(out stream) error {
	hello := &hawserv1.Hello{Berth: s.o.Berth, Source: s.o.Source, Plan: s.o.Plan}
	// Once: coming back must not undo a plan that was put in place since.
	hello.ReplacePlan = s.o.ReplacePlan && s.welcomed.IsZero()
	// If this fails Recv says why.
	if err := out.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: hello}}); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	resp, err := out.Recv()
	if err != nil {
		return reason(err)
	}
	w := resp.GetWelcome()
	if w == nil {
		return fault{fmt.Errorf("berth %s: source %s: the server's first frame is no welcome", s.o.Berth, s.o.Source)}
	}
	s.welcomed = time.Now()
	s.window.resume(w.GetDurableSequence())
	s.log.Info("connected", "seq", w.GetDurableSequence(), "plan", w.GetPlanFingerprint())
	return nil
}

func reason(err error) error {
	if errors.Is(err, io.EOF) {
		return errEnded
	}
	return err
}

// receive takes what the server tells until the stream ends.
func (s *sender) receive(out stream) error {
	for {
		resp, err := out.Recv()
		if err != nil {
			return reason(err)
		}
		switch f := resp.GetFrame().(type) {
		case *hawserv1.DeliverResponse_Receipt:
			s.window.receipt(f.Receipt)
		case *hawserv1.DeliverResponse_Refusal:
			s.window.refuse(f.Refusal)
		}
	}
}

// feed sends what the window has and fills it, until all is receipted.
func (s *sender) feed(ctx context.Context, l *link) error {
	for {
		s.progressNowAndThen()
		f, ok := s.window.unsent()
		var err error
		switch {
		case ok && time.Until(f.due) > 0:
			err = s.idle(ctx, l, f.due)
		case ok:
			s.window.sending()
			if l.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Batch{Batch: f.data}}) != nil {
				<-l.done // Recv has the reason
				err = l.err
			}
		case s.ended && s.window.empty():
			return nil
		case s.ended || !s.window.room():
			err = s.idle(ctx, l, time.Time{})
		case ctx.Err() != nil:
			err = ctx.Err()
		default:
			err = s.pull()
		}
		if err != nil {
			return err
		}
	}
}

// idle waits for something to do: news from the server, or the time to send.
func (s *sender) idle(ctx context.Context, l *link, due time.Time) error {
	var ring <-chan time.Time
	if !due.IsZero() {
		t := time.NewTimer(time.Until(due))
		defer t.Stop()
		ring = t.C
	}
	select {
	case <-s.window.changed:
		return nil
	case <-ring:
		return nil
	case <-l.done:
		return l.err
	case <-ctx.Done():
		return ctx.Err()
	}
}
