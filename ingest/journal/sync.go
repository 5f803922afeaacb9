package journal

import (
	"fmt"
	"sync"
	"time"
)

// Durability, in order: the server acknowledges (its write(2) returned), the
// message is added here, a sync that begins afterwards ends, the message is
// completed. One sync serves all that was added before it began.

// syncer groups the syncs of one stream.
type syncer struct {
	j     *Journal
	every time.Duration
	flush func() error          // syncs everything written so far; nil when an acknowledgement is all there is to wait for
	done  func(ws []*Pending)   // completes messages that are on disk
	drop  func(*Pending, error) // completes one that may not be
	mark  func(newest Position) // notes what is on disk; may be nil

	mu    sync.Mutex
	dirty []*Pending

	wake chan struct{} // holds one when dirty is not empty
	stop chan struct{}
	wg   sync.WaitGroup
}

func (s *syncer) start() {
	s.wake, s.stop = make(chan struct{}, 1), make(chan struct{})
	s.wg.Go(s.run)
}

// close completes what was added and returns.
func (s *syncer) close() {
	close(s.stop)
	s.wg.Wait()
	s.round()
}

// add takes a message that was acknowledged.
func (s *syncer) add(w *Pending) {
	if s.flush == nil {
		s.done([]*Pending{w})
		return
	}
	s.mu.Lock()
	s.dirty = append(s.dirty, w)
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *syncer) run() {
	pace := time.NewTimer(0)
	defer pace.Stop()
	<-pace.C
	for {
		select {
		case <-s.wake:
		case <-s.stop:
			return
		}
		pace.Reset(s.every)
		s.round()
		select {
		case <-pace.C:
		case <-s.stop:
			return
		}
	}
}

// round syncs once and completes what had been added before. Once the journal
// has failed it only fails what comes: after a failed fsync the kernel may have
// thrown the pages away and marked them clean, so a later success would prove
// nothing.
func (s *syncer) round() {
	s.mu.Lock()
	batch := s.dirty
	s.dirty = nil
	s.mu.Unlock()
	if len(batch) == 0 {
		return
	}
	err := s.j.failureOf()
	if err == nil {
		began := time.Now()
		err = s.flush()
		s.j.m.sync.Observe(time.Since(began).Seconds())
		if err != nil {
			s.j.m.syncFailures.Inc()
			err = s.j.fail(fmt.Errorf("sync: %w", err))
		}
	}
	if err != nil {
		for _, w := range batch {
			s.drop(w, err)
		}
		return
	}
	if s.mark != nil {
		var newest Position
		for _, w := range batch {
			newest = max(newest, w.pos)
		}
		s.mark(newest)
	}
	s.done(batch)
}
