package live

import (
	"context"
	"time"

	hawserv1 "hawser/proto/hawser/v1"
)

const (
	usualInterval = 500 * time.Millisecond
	// heartbeat is the longest time between two pictures: ages go on where
	// readings do not.
	heartbeat = 2 * time.Second
)

// Watch hands over the picture of a berth, or of all for "": at once, then when
// readings came in, at most once an interval (0 means 500 ms), and at least every
// 2 s or every interval. It goes on until ctx ends, fn fails or the board is closed.
// While fn takes its time pictures are passed over, and nobody waits.
func (b *Board) Watch(ctx context.Context, berth string, interval time.Duration, fn func([]*hawserv1.BerthPicture) error) error {
	if interval <= 0 {
		interval = usualInterval
	}
	slot := b.subscribe()
	defer b.unsubscribe(slot)
	pause, beat := time.NewTimer(interval), time.NewTimer(heartbeat)
	defer pause.Stop()
	defer beat.Stop()
	for {
		if err := fn(b.Pictures(berth)); err != nil {
			return err
		}
		pause.Reset(interval)
		beat.Reset(heartbeat)
		select {
		case <-pause.C:
		case <-ctx.Done():
			return ctx.Err()
		case <-b.done:
			return ErrClosed
		}
		select {
		case <-slot:
		case <-beat.C:
		case <-ctx.Done():
			return ctx.Err()
		case <-b.done:
			return ErrClosed
		}
	}
}
