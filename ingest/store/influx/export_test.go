package influx

import "time"

// Requests sets how many lines go in one request and how long it may take.
func (o *Options) Requests(lines int, timeout time.Duration) {
	o.batchLines, o.timeout = lines, timeout
}
