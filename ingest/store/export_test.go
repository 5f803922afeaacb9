package store

import "time"

// Group sets at which memory a group goes to the store without waiting longer.
func (o *PumpOptions) Group(bytes int) { o.groupBytes = bytes }

// Retry bounds the wait between two tries.
func (o *PumpOptions) Retry(least, most time.Duration) { o.retryMin, o.retryMax = least, most }
