package intake

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"golang.org/x/sync/semaphore"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/journal"
	hawserv1 "hawser/proto/hawser/v1"
)

// delivery is one stream after its Welcome.
type delivery struct {
	s      *Server
	berth  *berth
	src    *source
	stream stream
	log    *slog.Logger

	window *semaphore.Weighted
	out    *outbox
	// queue carries items from the taking goroutine to the handler, in order. Its
	// room is that of the window, so putting one in never blocks.
	queue chan item

	opened time.Time
	until  time.Time       // up to when it waits for sources that send nothing
	again  bool            // the source has sent before this stream
	went   map[string]bool // sources that came and went since, at most limits.Sources

	// gate is held while a frame is worked on; once shut, no more are.
	gate sync.Mutex
	shut bool

	// Under gate.
	handed  uint64 // last sequence the journal took
	decoder batch.Decoder
	faults  []fault
	refused tally
}

// tally counts refusals of a stream for its log.
type tally struct {
	batches, columns int
	first            string
}

func newDelivery(s *Server, b *berth, src *source, in stream, durable uint64) *delivery {
	window, opened := semaphore.NewWeighted(s.weight(0)*int64(s.o.limits.InFlight)), s.o.Now()
	b.opens(src, opened)
	return &delivery{
		s: s, berth: b, src: src, stream: in, opened: opened, until: b.waitsUntil(opened), again: b.knows(src),
		log:    s.o.Log.With("berth", b.name, "source", src.name),
		window: window, out: newOutbox(s, window, durable),
		queue: make(chan item, s.o.limits.InFlight), handed: durable,
	}
}

// run serves the stream until it ends and all that was taken is told or given up.
func (d *delivery) run(ctx context.Context, end context.CancelCauseFunc) error {
	d.log.Info("stream open", "seq", d.handed)
	late, cancel := grace(ctx, d.s.o.limits.DrainTimeout)
	defer cancel()
	defer d.out.abandon()

	d.s.work.Go(func() { d.receive(ctx, end) })
	sent := make(chan struct{})
	d.s.work.Go(func() {
		defer close(sent)
		if err := d.out.run(d.stream.Send); err != nil {
			end(err)
		}
	})
	d.settle(ctx, late, end)
	d.out.finish()
	select {
	case <-sent:
	case <-late.Done(): // the source does not read; returning lets Send go
	}
	err := outcome(ctx, nil)
	d.log.Info("stream ended", "seq", d.handed, "err", err,
		"refused_batches", d.refused.batches, "refused_columns", d.refused.columns, "first_refusal", d.refused.first)
	return err
}

// grace is a context that ends d after ctx does.
func grace(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	late, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		t := time.AfterFunc(d, cancel)
		context.AfterFunc(late, func() { t.Stop() })
	})
	return late, func() { stop(); cancel() }
}

// settle waits for the journal, item by item, until no more will come. The first
// one that the journal did not take ends the receipts, as they are of all before
// them, and the stream too, unless it is watched all the same.
func (d *delivery) settle(ctx, late context.Context, end context.CancelCauseFunc) {
	lost := false
	one := func(it item) {
		if it.pending != nil {
			_, err := it.pending.Wait(late)
			switch {
			case err == nil:
			case errors.Is(err, ErrUnkept):
				if !lost {
					d.log.Warn("nothing is kept of what comes; it is watched, and not receipted", "seq", it.sequence, "err", err)
				}
				lost = true
			default:
				end(unavailable("%s: journal: %v", d.place(it.sequence), err))
				lost = true
			}
		}
		if lost {
			d.out.pass(it)
		} else {
			d.out.add(it)
		}
	}
	for {
		select {
		case it, ok := <-d.queue:
			if !ok {
				return
			}
			one(it)
		case <-ctx.Done():
			d.shutGate()
			for it := range d.queue {
				one(it)
			}
			return
		}
	}
}

// shutGate ends the taking of frames. It waits for the one in work, which ends
// soon when the stream's context has.
func (d *delivery) shutGate() {
	d.gate.Lock()
	defer d.gate.Unlock()
	if !d.shut {
		d.shut = true
		close(d.queue)
	}
}

// receive takes frames until the stream ends. It outlives the handler by as long
// as Recv takes to notice. A panic over a frame ends this stream only: the source
// will send the frame again, and must not stop every berth with it.
func (d *delivery) receive(ctx context.Context, end context.CancelCauseFunc) {
	defer func() {
		if p := recover(); p != nil {
			d.log.Error("panic over a frame", "panic", p, "stack", string(debug.Stack()))
			end(status.Errorf(codes.Internal, "berth %s: source %s: frame after batch %d: internal error", d.berth.name, d.src.name, d.handed))
		}
	}()
	for {
		req, err := d.stream.Recv()
		if errors.Is(err, io.EOF) {
			d.berth.done(d.src)
			d.shutGate()
			return
		}
		if err == nil {
			err = d.take(ctx, req)
		}
		if err != nil {
			end(err)
			return
		}
	}
}

var errShut = errors.New("stream is ending")

// take works on one frame. An error ends the stream.
func (d *delivery) take(ctx context.Context, req *hawserv1.DeliverRequest) error {
	d.gate.Lock()
	defer d.gate.Unlock()
	if d.shut {
		return errShut
	}
	arrived := d.s.o.Now()
	frame, ok := req.GetFrame().(*hawserv1.DeliverRequest_Batch)
	if !ok {
		return d.wrongFrame("expected a batch after the hello")
	}
	it := item{arrived: arrived, weight: d.s.weight(len(frame.Batch))}
	block, undecoded, wrong := d.decoder.Decode(frame.Batch)
	if wrong != nil {
		if it.sequence = sequenceOf(frame.Batch); errors.Is(wrong, batch.ErrMalformed) || it.sequence == 0 {
			return d.wrongFrame(wrong.Error())
		}
	} else {
		it.sequence = block.Sequence
	}
	if err := d.window.Acquire(ctx, it.weight); err != nil {
		return context.Cause(ctx)
	}
	d.out.hold()
	switch {
	case wrong != nil:
		it.refusal = d.refuseWhole(it.sequence, reasonBadBatch, wrong.Error())
	case it.sequence <= d.handed:
		it.odd.repeatedBatches = 1
		d.berth.m.count(it.odd)
	default:
		if err := d.hand(ctx, &it, frame.Batch, block, undecoded); err != nil {
			return err
		}
	}
	d.queue <- it
	return nil
}

// maxInFlightBytes is the room of a window, more than any batch takes.
const maxInFlightBytes = 16 << 20

// weight is the room a batch takes in the window: its bytes, and at least an
// equal part of it, so that no more than limits.InFlight fit.
func (s *Server) weight(size int) int64 {
	most := int64(s.o.limits.InFlight)
	return max(int64(size), (maxInFlightBytes+most-1)/most)
}

// sequenceOf reads the sequence of a batch that Decode did not take, 0 if it has
// none.
func sequenceOf(data []byte) uint64 {
	var b hawserv1.Batch
	if err := proto.Unmarshal(data, &b); err != nil {
		return 0
	}
	return b.GetSequence()
}

// hand checks a new batch and hands it to the journal.
func (d *delivery) hand(ctx context.Context, it *item, data []byte, block *reading.Block, undecoded []batch.ColumnFault) error {
	plan, ok := d.s.o.Plans.Current(d.berth.name)
	if !ok {
		return withDetails(codes.FailedPrecondition, "berth "+d.berth.name+": no longer under a plan", reasonNoPlan, nil)
	}
	limit := it.arrived.Add(d.mayLead(it.arrived)).UnixNano()
	if block.CompleteUntil > limit {
		it.refusal = d.refuseWhole(block.Sequence, reasonClockAhead, ahead("complete_until", block.CompleteUntil, it.arrived))
		d.berth.refusedAhead(d.src.name, block.CompleteUntil, it.arrived)
		return nil
	}
	v := d.check(block, undecoded, d.berth.bind(plan), it.arrived, limit)
	e := &journal.Entry{Berth: d.berth.name, Source: d.src.name, SourceSequence: block.Sequence, Plan: plan.Fingerprint, Data: data}
	if len(v.faults) > 0 {
		it.refusal = d.refuseColumns(block.Sequence, v.faults)
		for _, f := range v.faults {
			e.Refused = append(e.Refused, uint32(f.column))
		}
	}
	at := reached(block)
	if err := d.withinShare(ctx, len(data), at, it.arrived); err != nil {
		return err
	}
	err := d.abreast(ctx, at, it.arrived)
	if err != nil {
		return err
	}
	if it.pending, err = d.s.o.Journal.Append(ctx, e); err != nil {
		return unavailable("%s: journal: %v", d.place(block.Sequence), err)
	}
	d.handed = block.Sequence
	d.berth.hear(d.src, it.arrived, at, clockOf(block, at, it.arrived))
	d.berth.see(v.newest)
	it.odd = v.odd
	d.berth.m.took(len(data), v, it.arrived)
	return nil
}

func (d *delivery) refuseWhole(sequence uint64, reason, text string) *hawserv1.Refusal {
	d.s.m.refusals.WithLabelValues("batch", reason).Inc()
	r := d.wholeRefusal(sequence, reason, text)
	d.refused.batches++
	d.refused.note(r)
	return r
}

func (d *delivery) refuseColumns(sequence uint64, faults []fault) *hawserv1.Refusal {
	for _, f := range faults {
		d.s.m.refusals.WithLabelValues("column", f.reason).Inc()
	}
	r := d.columnsRefusal(sequence, faults)
	d.refused.columns += len(faults)
	d.refused.note(r)
	return r
}

func (t *tally) note(r *hawserv1.Refusal) {
	if t.first == "" {
		t.first = r.GetStatus().GetMessage()
	}
}

// wrongFrame is the end of a stream whose source does not speak the protocol.
func (d *delivery) wrongFrame(text string) error {
	return withDetails(codes.InvalidArgument,
		fmt.Sprintf("berth %s: source %s: frame after batch %d: %s", d.berth.name, d.src.name, d.handed, text),
		reasonBadFrame, nil,
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{violation("frame", reasonBadFrame, text)}})
}
