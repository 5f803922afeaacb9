package alarmtest

import (
	"sync"
	"time"
)

// Clock is a time that stands until a test moves it.
type Clock struct {
	mu sync.Mutex
	t  time.Time
}

// NewClock makes a clock that stands at a time.
func NewClock(t time.Time) *Clock { return &Clock{t: t} }

// Now is its time.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

// Move moves it on.
func (c *Clock) Move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}
