package edge

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"slices"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	hawserv1 "hawser/proto/hawser/v1"
)

// progressEvery is the least time between two calls of Progress.
const progressEvery = 200 * time.Millisecond

// sender is a Send at work. All of it belongs to the goroutine that called.
type sender struct {
	o      Options
	log    *slog.Logger
	blocks func() (*reading.Block, error)
	client hawserv1.IntakeServiceClient
	window *window

	last     uint64 // sequence of the block before
	ended    bool   // blocks has no more
	wrong    error  // of blocks
	shifted  reading.Block
	pace     pace
	welcomed time.Time // last
	told     time.Time // Progress
}

// run connects, again and again, until all is receipted.
func (s *sender) run(ctx context.Context) error {
	wait, since, tried := s.o.minBackoff, time.Now(), 0
	for {
		before, began := s.settled(), time.Now()
		err := s.connection(ctx)
		switch {
		case err == nil:
			return s.wrong
		case ctx.Err() != nil:
			return fmt.Errorf("berth %s: source %s: %w", s.o.Berth, s.o.Source, context.Cause(ctx))
		case permanent(err):
			return rejected{err}
		}
		lasted := s.welcomed.After(began) && time.Since(s.welcomed) > s.o.maxBackoff
		if lasted || s.settled() != before {
			wait, since, tried = s.o.minBackoff, time.Now(), 0
		}
		tried++
		if s.o.GiveUpAfter > 0 && time.Since(since) > s.o.GiveUpAfter {
			return fmt.Errorf("berth %s: source %s: gave up after %d tries in %v: %w",
				s.o.Berth, s.o.Source, tried, s.o.GiveUpAfter, rejected{err})
		}
		// Between half and all of the wait, so that a fleet does not come back at once.
		pause := wait/2 + rand.N(wait/2+1)
		s.log.Warn("connection lost", "err", err, "seq", s.summary().DurableSequence, "again_in", pause)
		s.progress(false, err)
		if err := sleep(ctx, pause); err != nil {
			return fmt.Errorf("berth %s: source %s: %w", s.o.Berth, s.o.Source, err)
		}
		wait = min(2*wait, s.o.maxBackoff)
		s.window.countReconnect()
	}
}

// permanent reports whether trying again is of no use.
func permanent(err error) bool {
	var local fault
	if errors.As(err, &local) {
		return true
	}
	switch status.Code(err) {
	case codes.InvalidArgument, codes.FailedPrecondition, codes.OutOfRange, codes.NotFound, codes.AlreadyExists,
		codes.PermissionDenied, codes.Unauthenticated, codes.Unimplemented, codes.DataLoss:
		return true
	default:
		return false
	}
}

// fault is what this side found wrong.
type fault struct{ error }

func (f fault) Unwrap() error { return f.error }

// rejected reads as what the server said, without the words of the transport.
type rejected struct{ error }

func (r rejected) Error() string { return Reason(r.error) }

func (r rejected) Unwrap() error { return r.error }

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// pull brings the next block into the window, or finds that there are no more.
func (s *sender) pull() error {
	b, err := s.blocks()
	switch {
	case errors.Is(err, io.EOF):
		s.ended = true
		return nil
	case err != nil:
		s.ended, s.wrong = true, fmt.Errorf("after block %d: %w", s.last, err)
		return nil
	case b.Sequence <= s.last:
		return fault{fmt.Errorf("block %d comes after block %d: sequences must rise", b.Sequence, s.last)}
	}
	s.last = b.Sequence
	if s.window.skip(b.Sequence) {
		return nil
	}
	if s.o.Shift != 0 {
		b = s.shift(b)
	}
	data, err := batch.Append(nil, b)
	if err != nil {
		return fault{fmt.Errorf("block %d: %w", b.Sequence, err)}
	}
	f := frame{sequence: b.Sequence, data: data}
	for i := range b.Series {
		f.samples += b.Series[i].Len()
		if n := b.Series[i].Len(); n > 0 {
			f.newest = max(f.newest, b.Series[i].Time[n-1])
		}
	}
	f.due = s.pace.due(max(f.newest, b.CompleteUntil), s.o.Pace)
	s.window.push(f)
	return nil
}

// shift is b at other times. The times are copied: they are the source's.
func (s *sender) shift(b *reading.Block) *reading.Block {
	out := &s.shifted
	out.Sequence, out.CompleteUntil = b.Sequence, b.CompleteUntil
	if out.CompleteUntil != 0 {
		out.CompleteUntil += int64(s.o.Shift)
	}
	out.Series = slices.Grow(out.Series[:0], len(b.Series))[:len(b.Series)]
	for i := range b.Series {
		times := append(out.Series[i].Time[:0], b.Series[i].Time...)
		for j := range times {
			times[j] += int64(s.o.Shift)
		}
		out.Series[i] = b.Series[i]
		out.Series[i].Time = times
	}
	return out
}

// pace says when what happened is to be sent, counted from the first block.
type pace struct {
	begun time.Time
	event int64
}

func (p *pace) due(event int64, rate float64) time.Time {
	if rate == 0 {
		return time.Time{}
	}
	if p.begun.IsZero() {
		p.begun, p.event = time.Now(), event
	}
	return p.begun.Add(time.Duration(float64(event-p.event) / rate))
}

func (s *sender) summary() Summary {
	sum, _ := s.window.summary()
	return sum
}

// settled is how much is no longer waited for.
func (s *sender) settled() uint64 {
	sum := s.summary()
	return sum.Batches + sum.RefusedBatches + sum.Skipped
}

// progress tells how far it is.
func (s *sender) progress(connected bool, err error) {
	s.tell(Progress{Connected: connected, Err: err})
}

// tell adds to a progress what is on disk.
func (s *sender) tell(p Progress) {
	if s.o.Progress == nil {
		return
	}
	s.told = time.Now()
	var newest int64
	if p.Summary, newest = s.window.summary(); newest != 0 {
		p.EventTime = time.Unix(0, newest).UTC()
	}
	s.o.Progress(p)
}

func (s *sender) progressNowAndThen() {
	if s.o.Progress != nil && time.Since(s.told) >= progressEvery {
		s.progress(true, nil)
	}
}
