package influx

import "time"

// Requests sets how many points go in one request and how long it may take.
func (o *Options) Requests(points int, timeout time.Duration) {
	o.batchPoints, o.timeout = points, timeout
}
