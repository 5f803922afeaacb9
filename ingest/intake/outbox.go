package intake

import (
	"sync"
	"time"

	"golang.org/x/sync/semaphore"

	hawserv1 "hawser/proto/hawser/v1"
)

// outbox is what a stream has yet to tell its source. What piles up while a
// receipt waits for its time, or for the network, goes as one. Items hold their
// room in the window until told, which bounds the outbox.
type outbox struct {
	every  time.Duration // least time between receipts
	window *semaphore.Weighted
	m      *metrics
	now    func() time.Time

	wake   chan struct{} // room for one: something is to be told
	closed chan struct{} // nothing will be added

	mu       sync.Mutex
	waiting  news
	inFlight int
}

// news is the content of the outbox.
type news struct {
	refusals []*hawserv1.Refusal
	receipt  bool
	durable  uint64
	odd      oddities
	arrived  []time.Time // of the batches a receipt would be for
	items    int
	weight   int64
}

// item is one batch's way through a stream.
type item struct {
	sequence uint64
	pending  Pending // nil where the journal has no part in it
	refusal  *hawserv1.Refusal
	odd      oddities
	arrived  time.Time
	weight   int64
}

func newOutbox(s *Server, window *semaphore.Weighted, durable uint64) *outbox {
	return &outbox{
		every: s.o.limits.ReceiptEvery, window: window, m: s.m, now: s.o.Now,
		wake: make(chan struct{}, 1), closed: make(chan struct{}), waiting: news{durable: durable},
	}
}

// hold counts an item in; add will tell of it.
func (o *outbox) hold() {
	o.mu.Lock()
	o.inFlight++
	o.mu.Unlock()
	o.m.inFlight.Inc()
}

// add takes an item that the journal is done with.
func (o *outbox) add(it item) {
	o.mu.Lock()
	w := &o.waiting
	w.items++
	w.weight += it.weight
	if it.refusal != nil {
		w.refusals = append(w.refusals, it.refusal)
	}
	switch {
	case it.pending != nil:
		w.receipt, w.durable = true, it.sequence
		w.arrived = append(w.arrived, it.arrived)
	case it.odd.repeatedBatches > 0:
		w.receipt = true
	}
	w.odd.add(it.odd)
	o.mu.Unlock()
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// pass lets an item go that is not receipted; that it was refused is told.
func (o *outbox) pass(it item) {
	if it.refusal != nil {
		it.pending, it.odd = nil, oddities{}
		o.add(it)
		return
	}
	o.window.Release(it.weight)
	o.mu.Lock()
	defer o.mu.Unlock()
	o.letGo(1)
}

// finish lets run return once all is told. Called once.
func (o *outbox) finish() { close(o.closed) }

// run tells what is added until finish, or until send fails.
func (o *outbox) run(send func(*hawserv1.DeliverResponse) error) error {
	pause := time.NewTimer(0) // fires when the next receipt may go
	defer pause.Stop()
	var n news
	for last := false; !last; {
		select {
		case <-o.wake:
			select {
			case <-pause.C:
			case <-o.closed:
				last = true
			}
		case <-o.closed:
			last = true
		}
		n = o.take(n)
		if err := n.tell(send); err != nil {
			return err
		}
		o.told(&n)
		pause.Reset(o.every)
	}
	return nil
}

// take empties the outbox. Of used, which was told, only the memory counts.
func (o *outbox) take(used news) news {
	o.mu.Lock()
	defer o.mu.Unlock()
	n := o.waiting
	clear(used.refusals)
	o.waiting = news{durable: n.durable, refusals: used.refusals[:0], arrived: used.arrived[:0]}
	return n
}

func (n *news) tell(send func(*hawserv1.DeliverResponse) error) error {
	for _, r := range n.refusals {
		if err := send(&hawserv1.DeliverResponse{Frame: &hawserv1.DeliverResponse_Refusal{Refusal: r}}); err != nil {
			return err
		}
	}
	if !n.receipt {
		return nil
	}
	r := &hawserv1.Receipt{DurableSequence: n.durable}
	if n.odd != (oddities{}) {
		r.Oddities = n.odd.proto()
	}
	return send(&hawserv1.DeliverResponse{Frame: &hawserv1.DeliverResponse_Receipt{Receipt: r}})
}

// told gives the room of what was told back.
func (o *outbox) told(n *news) {
	now := o.now()
	for _, at := range n.arrived {
		o.m.receiptDelay.Observe(now.Sub(at).Seconds())
	}
	o.window.Release(n.weight)
	o.mu.Lock()
	defer o.mu.Unlock()
	o.letGo(n.items)
}

// abandon lets go of what will never be told.
func (o *outbox) abandon() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.letGo(o.inFlight)
}

// letGo counts items out; mu is held. After abandon there are none.
func (o *outbox) letGo(items int) {
	items = min(items, o.inFlight)
	o.inFlight -= items
	o.m.inFlight.Sub(float64(items))
}
