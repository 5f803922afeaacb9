package tsdb

import (
	"cmp"
	"slices"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// raw is a reading as it is.
type raw struct {
	time  int64 // Unix ms
	value float64
}

// point is the readings of a step. Its sum is of whole numbers as they are stored,
// values times scale: the mean of 0.1, 0.1 and 0.1 is 0.1.
type point struct {
	time       int64 // Unix ms, of the start of the step
	sum, scale float64
	min, max   float64
	count      int64
}

func (p *point) fold(n, scale float64) {
	v := n / scale
	p.min, p.max = min(p.min, v), max(p.max, v)
	p.sum += n
	p.count++
}

// merge adds a point of the same step from another series of the channel.
func (p *point) merge(o *point) {
	if p.scale != o.scale {
		p.sum, p.scale = p.sum/p.scale+o.sum/o.scale, 1
	} else {
		p.sum += o.sum
	}
	p.min, p.max = min(p.min, o.min), max(p.max, o.max)
	p.count += o.count
}

// columns gathers a channel's readings or points, series by series, each in order
// of time.
type columns struct {
	raws   []raw
	points []point

	series int
	step   int64 // ms, 0 for readings as they are
	scale  float64
	open   bool // the last point is of the series being added
}

// begin starts the next series of the channel.
func (c *columns) begin(step int64, scale float64) {
	c.series++
	c.step, c.scale, c.open = step, scale, false
}

// add takes a stored number and reports whether it made a new point.
func (c *columns) add(ms int64, n float64) bool {
	if c.step == 0 {
		c.raws = append(c.raws, raw{time: ms, value: n / c.scale})
		return true
	}
	ms -= ms % c.step
	if c.open {
		if last := &c.points[len(c.points)-1]; last.time == ms {
			last.fold(n, c.scale)
			return false
		}
	}
	v := n / c.scale
	c.points = append(c.points, point{time: ms, sum: n, scale: c.scale, min: v, max: v, count: 1})
	c.open = true
	return true
}

// joinSeries puts what several series gave into one order. A step that has points
// of two becomes one point; of two readings for one time the first stays, though
// appending lets no second in.
func (c *columns) joinSeries() {
	if c.series < 2 {
		return
	}
	slices.SortStableFunc(c.raws, func(a, b raw) int { return cmp.Compare(a.time, b.time) })
	c.raws = slices.CompactFunc(c.raws, func(a, b raw) bool { return a.time == b.time })
	slices.SortStableFunc(c.points, func(a, b point) int { return cmp.Compare(a.time, b.time) })
	kept := c.points[:0]
	for _, p := range c.points {
		if n := len(kept); n > 0 && kept[n-1].time == p.time {
			kept[n-1].merge(&p)
			continue
		}
		kept = append(kept, p)
	}
	c.points = kept
}

func (c *columns) empty() bool { return len(c.raws)+len(c.points) == 0 }

func (c *columns) result(channel reading.Channel) store.Result {
	c.joinSeries()
	n := len(c.raws) + len(c.points) // one of them is none
	r := store.Result{Channel: channel, Time: make([]int64, n), Value: make([]float64, n)}
	for i, v := range c.raws {
		r.Time[i], r.Value[i] = v.time*int64(time.Millisecond), v.value
	}
	if c.step == 0 {
		return r
	}
	r.Min, r.Max, r.Count = make([]float64, n), make([]float64, n), make([]int64, n)
	for i := range c.points {
		p := &c.points[i]
		r.Time[i] = p.time * int64(time.Millisecond)
		r.Value[i] = p.sum / (p.scale * float64(p.count))
		r.Min[i], r.Max[i], r.Count[i] = p.min, p.max, p.count
	}
	return r
}
