package query

import "time"

// Bound sets the samples that a query may have in memory, and its time.
func (o *Options) Bound(samples int, timeout time.Duration) {
	o.maxSamples, o.timeout = samples, timeout
}
