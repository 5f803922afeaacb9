package edge

import "time"

// Backoff bounds the wait between two tries.
func (o *Options) Backoff(least, most time.Duration) { o.minBackoff, o.maxBackoff = least, most }

// Window bounds the batches kept for want of a receipt.
func (o *Options) Window(batches int) { o.windowBatches = batches }
