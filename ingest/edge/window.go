package edge

import (
	"slices"
	"sort"
	"strconv"
	"sync"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"

	hawserv1 "hawser/proto/hawser/v1"
)

// maxRefusals bounds the texts a Summary keeps.
const maxRefusals = 8

// frame is an encoded block.
type frame struct {
	sequence uint64
	data     []byte
	samples  int
	newest   int64 // event time, Unix nanoseconds
	due      time.Time
	sent     bool // at least once
	refused  bool
}

// window is the batches that have no receipt yet, by rising sequence, and what
// became of those before them. Safe for concurrent use: one goroutine fills and
// sends it, another brings receipts.
type window struct {
	maxBatches int

	// changed has a token when a receipt or refusal came.
	changed chan struct{}

	mu     sync.Mutex
	frames []frame
	next   int // the first not sent on this connection
	bytes  int
	sum    Summary
	newest int64
}

func newWindow(o Options) *window {
	return &window{maxBatches: o.windowBatches, changed: make(chan struct{}, 1)}
}

// room reports whether another frame fits.
func (w *window) room() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.frames) == 0 || len(w.frames) < w.maxBatches && w.bytes < windowBytes
}

func (w *window) push(f frame) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.frames = append(w.frames, f)
	w.bytes += len(f.data)
}

// unsent is the first frame that is yet to go over this connection.
func (w *window) unsent() (frame, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for w.next < len(w.frames) && w.frames[w.next].refused {
		w.next++
	}
	if w.next == len(w.frames) {
		return frame{}, false
	}
	return w.frames[w.next], true
}

// sending marks the frame that unsent gave. It comes before the sending, as the
// receipt may come before that returns.
func (w *window) sending() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.frames[w.next].sent = true
	w.next++
}

// empty reports whether nothing waits for a receipt.
func (w *window) empty() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.frames) == 0
}

// resume begins a connection: the server has all up to durable.
func (w *window) resume(durable uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.drop(durable, len(w.frames))
	w.next = 0
}

// receipt takes a receipt in.
func (w *window) receipt(r *hawserv1.Receipt) {
	w.mu.Lock()
	w.drop(r.GetDurableSequence(), w.next)
	o, odd := &w.sum.Oddities, r.GetOddities()
	o.Late += odd.GetLate()
	o.Duplicate += odd.GetDuplicate()
	o.OutOfOrder += odd.GetOutOfOrder()
	o.Bad += odd.GetBad()
	o.RepeatedBatches += odd.GetRepeatedBatches()
	w.mu.Unlock()
	w.tell()
}

// refuse takes a refusal in.
func (w *window) refuse(r *hawserv1.Refusal) {
	w.mu.Lock()
	if r.GetWholeBatch() {
		i := sort.Search(len(w.frames), func(i int) bool { return w.frames[i].sequence >= r.GetSequence() })
		if i < w.next && w.frames[i].sequence == r.GetSequence() && !w.frames[i].refused {
			w.frames[i].refused = true
			w.sum.RefusedBatches++
		}
	} else {
		w.sum.RefusedColumns += refusedColumns(r)
	}
	if len(w.sum.Refusals) < maxRefusals {
		w.sum.Refusals = append(w.sum.Refusals, r.GetStatus().GetMessage())
	}
	w.drop(0, w.next)
	w.mu.Unlock()
	w.tell()
}

// refusedColumns is how many columns a refusal is about.
func refusedColumns(r *hawserv1.Refusal) uint64 {
	var named uint64
	for _, detail := range status.FromProto(r.GetStatus()).Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			if n, err := strconv.ParseUint(d.GetMetadata()["columns"], 10, 32); err == nil {
				return n
			}
		case *errdetails.BadRequest:
			named = uint64(len(d.GetFieldViolations()))
		}
	}
	return named
}

// drop lets the frames up to durable go, and refused ones at the head, within
// the first limit frames; mu is held.
func (w *window) drop(durable uint64, limit int) {
	n := 0
	for ; n < limit; n++ {
		f := &w.frames[n]
		if f.sequence > durable && !f.refused {
			break
		}
		switch {
		case f.refused:
		case f.sent:
			w.sum.Batches++
			w.sum.Samples += uint64(f.samples)
			w.sum.Bytes += uint64(len(f.data))
			w.newest = max(w.newest, f.newest)
		default: // another sender of the same source was quicker
			w.sum.Skipped++
		}
		w.bytes -= len(f.data)
		*f = frame{}
	}
	w.frames = w.frames[n:]
	w.next = max(0, w.next-n)
	w.sum.DurableSequence = max(w.sum.DurableSequence, durable)
}

// skip passes over a block if the server has it.
func (w *window) skip(sequence uint64) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if sequence > w.sum.DurableSequence {
		return false
	}
	w.sum.Skipped++
	return true
}

func (w *window) countReconnect() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.sum.Reconnects++
}

// summary is what was done so far, and the time of the newest reading on the
// server's disk.
func (w *window) summary() (Summary, int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	sum := w.sum
	sum.Refusals = slices.Clone(sum.Refusals)
	return sum, w.newest
}

func (w *window) tell() {
	select {
	case w.changed <- struct{}{}:
	default:
	}
}
