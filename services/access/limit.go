package access

import (
	"context"
	"fmt"
	"sync"

	"golang.org/x/time/rate"
)

// Limits bound what one caller may take of the server. Zero means the default.
type Limits struct {
	// CallsPerSecond is how many calls a caller may begin a second on average;
	// default 20. Burst is how many at once; default 100.
	CallsPerSecond float64
	Burst          int
	// AtOnce is how many calls a caller may have open; default 64.
	AtOnce int
	// BytesPerSecond is what a stream is slowed to; default 16 MiB.
	BytesPerSecond int
}

func (l *Limits) validate() error {
	if l.CallsPerSecond < 0 || l.Burst < 0 || l.AtOnce < 0 || l.BytesPerSecond < 0 {
		return fmt.Errorf("access: negative limits: %+v", *l)
	}
	if l.CallsPerSecond == 0 {
		l.CallsPerSecond = 20
	}
	if l.Burst == 0 {
		l.Burst = 100
	}
	if l.AtOnce == 0 {
		l.AtOnce = 64
	}
	if l.BytesPerSecond == 0 {
		l.BytesPerSecond = 16 << 20
	}
	return nil
}

// maxShares bounds the callers that are counted at a time.
const maxShares = 4096

// share is one caller's part of the server.
type share struct {
	calls *rate.Limiter
	bytes *rate.Limiter
	open  int // calls; under shares.mu
}

// take waits until n bytes more are within the caller's rate.
func (s *share) take(ctx context.Context, n int) error {
	return s.bytes.WaitN(ctx, min(n, s.bytes.Burst()))
}

// shares are the callers' parts, by their key.
type shares struct {
	limits Limits
	mu     sync.Mutex
	of     map[string]*share
}

// begin takes a call into a caller's share; done gives its place back.
func (s *shares) begin(key string) (sh *share, done func(), err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	sh = s.of[key]
	if sh == nil {
		s.makeRoom()
		sh = &share{
			calls: rate.NewLimiter(rate.Limit(s.limits.CallsPerSecond), s.limits.Burst),
			bytes: rate.NewLimiter(rate.Limit(s.limits.BytesPerSecond), max(s.limits.BytesPerSecond/4, batchBytes)),
		}
		s.of[key] = sh
	}
	switch {
	case sh.open >= s.limits.AtOnce:
		return nil, nil, refuse(tooMuch, "%d calls are open already, as many as one caller may have", sh.open)
	case !sh.calls.Allow():
		return nil, nil, refuse(tooMuch, "more than %g calls a second", s.limits.CallsPerSecond)
	}
	sh.open++
	return sh, func() {
		s.mu.Lock()
		sh.open--
		s.mu.Unlock()
	}, nil
}

// makeRoom forgets callers that have nothing open, so that at most maxShares are
// counted; what they lose is how much of their burst they had used.
func (s *shares) makeRoom() {
	if len(s.of) < maxShares {
		return
	}
	for key, sh := range s.of {
		if sh.open == 0 {
			delete(s.of, key)
		}
	}
}
