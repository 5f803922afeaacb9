package live

import hawserv1 "hawser/proto/hawser/v1"

const (
	courseSeconds = 600 // length of a course
	spanSeconds   = 10  // that one point of a picture stands for
)

// second is the load over one second of event time.
type second struct {
	at             int64 // Unix seconds
	min, max, mean float32
	n              float32
}

// course is the load second by second over the last ten minutes of event time.
// Its memory is fixed, 14 KiB.
//
//	cell of second t: t mod 600; a cell that holds another second is empty
type course struct {
	newest int64 // Unix seconds
	cells  [courseSeconds]second
}

func (c *course) add(nanos int64, kN float64) {
	at, v := nanos/1e9, float32(kN)
	if at < 0 || at <= c.newest-courseSeconds {
		return
	}
	c.newest = max(c.newest, at)
	s := &c.cells[at%courseSeconds]
	if s.at != at {
		*s = second{at: at, min: v, max: v}
	}
	s.n++
	s.min, s.max = min(s.min, v), max(s.max, v)
	s.mean += (v - s.mean) / s.n
}

// points gives the course in spans, oldest first, up to a newest event time.
// Spans without a reading are left out. A span's mean is that of its seconds'
// means.
func (c *course) points(newestNanos int64) []*hawserv1.CoursePoint {
	end := newestNanos / 1e9
	first := max(0, end/spanSeconds-courseSeconds/spanSeconds+1)
	var out []*hawserv1.CoursePoint
	for span := first; span <= end/spanSeconds; span++ {
		if p := c.point(span * spanSeconds); p != nil {
			p.SecondsAgo = uint32(end - span*spanSeconds)
			out = append(out, p)
		}
	}
	return out
}

// point sums up the span that starts at a second, nil for none.
func (c *course) point(from int64) *hawserv1.CoursePoint {
	var p *hawserv1.CoursePoint
	var n float32
	for at := from; at < from+spanSeconds; at++ {
		s := &c.cells[at%courseSeconds]
		if s.at != at || s.n == 0 {
			continue
		}
		if p == nil {
			p = &hawserv1.CoursePoint{MinKn: s.min, MaxKn: s.max}
		}
		n++
		p.MinKn, p.MaxKn = min(p.MinKn, s.min), max(p.MaxKn, s.max)
		p.MeanKn += (s.mean - p.MeanKn) / n
	}
	return p
}
