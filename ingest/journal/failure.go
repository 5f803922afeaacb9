package journal

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go"
)

// usable says why the journal takes nothing, if so.
func (j *Journal) usable() error {
	if j.ctx.Err() != nil {
		return ErrClosed
	}
	if err := j.failureOf(); err != nil || j.owner == nil || j.owner.holds() {
		return err
	}
	return fmt.Errorf("%w: whether the journal is another's by now is not known", ErrUnavailable)
}

func (j *Journal) failureOf() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.failure
}

// Failed is closed when the journal takes nothing more because its storage
// failed, its own disk or server and never an outage of a server outside, or because
// another owner has followed this one. Err says why. Reading goes on as far as it can.
func (j *Journal) Failed() <-chan struct{} { return j.failed }

// Err is the failure behind Failed, nil before.
func (j *Journal) Err() error { return j.failureOf() }

// fail makes err, as ErrStorage, the end of appending, and of what is on the
// way. The first one stays and is returned.
func (j *Journal) fail(err error) error {
	j.mu.Lock()
	first := j.failure == nil
	if first {
		j.failure = fmt.Errorf("%w: %w", ErrStorage, err)
	}
	err = j.failure
	j.mu.Unlock()
	if first {
		j.m.failed.Set(1)
		j.log.Error("journal takes nothing more", "err", err)
		close(j.failed)
		j.pub.abandon(err, true)
	}
	return err
}

// outage turns an error of the connection or the server into what callers
// branch on.
func (j *Journal) outage(err error) error {
	switch {
	case errors.Is(err, nats.ErrMaxPayload):
		return fmt.Errorf("%w: the server's max_payload is %d bytes", ErrTooLarge, j.pubConn.MaxPayload())
	case j.ctx.Err() != nil:
		return ErrClosed
	case j.embedded():
		return j.fail(err)
	default:
		return fmt.Errorf("%w: %w", ErrUnavailable, err)
	}
}

// readError is outage for reading, which a failed read does not end.
func (j *Journal) readError(err error) error {
	switch {
	case j.ctx.Err() != nil:
		return ErrClosed
	case errors.Is(err, context.Canceled):
		return err
	default:
		return fmt.Errorf("%w: %w", ErrUnavailable, err)
	}
}

// within is ctx that also ends, with ErrClosed, when the journal is closed.
func (j *Journal) within(ctx context.Context) (context.Context, context.CancelFunc) {
	return within(ctx, j.ctx, ErrClosed)
}

// within is ctx that also ends, with a cause, when another context does.
func within(ctx, other context.Context, cause error) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancelCause(ctx)
	stop := context.AfterFunc(other, func() { cancel(cause) })
	return ctx, func() {
		stop()
		cancel(nil)
	}
}
