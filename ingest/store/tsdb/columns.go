package tsdb

import (
	"cmp"
	"slices"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
)

// raw is a reading as it is.
type raw struct {
	time  int64 // Unix ms
	value float64
}

// columns gathers a channel's readings or points, series by series, each in order
// of time.
type columns struct {
	raws   []raw
	points []roll.Roll

	series   int
	step     int64 // ms, 0 for readings as they are
	decimals int8
	open     bool // the last point is of the series being added
}

// begin starts the next series of the channel.
func (c *columns) begin(step int64, decimals int8) {
	c.series++
	c.step, c.decimals, c.open = step, decimals, false
}

// add takes a stored number and reports whether it made a new point.
func (c *columns) add(ms int64, n float64) bool {
	if c.step == 0 {
		c.raws = append(c.raws, raw{time: ms, value: n / scale(c.decimals)})
		return true
	}
	at := roll.Floor(ms, c.step) * int64(time.Millisecond)
	if c.open {
		if last := &c.points[len(c.points)-1]; last.Time == at {
			last.Add(n, c.decimals)
			return false
		}
	}
	c.points = append(c.points, roll.Roll{Time: at})
	c.points[len(c.points)-1].Add(n, c.decimals)
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
	slices.SortStableFunc(c.points, func(a, b roll.Roll) int { return cmp.Compare(a.Time, b.Time) })
	c.points = roll.Reduce(c.points, c.step*int64(time.Millisecond))
}

func (c *columns) empty() bool { return len(c.raws)+len(c.points) == 0 }

func (c *columns) result(channel reading.Channel) store.Result {
	c.joinSeries()
	r := store.Result{Channel: channel, Step: time.Duration(c.step) * time.Millisecond}
	if c.step > 0 {
		appendRolls(&r, c.points)
		return r
	}
	r.Time, r.Value = make([]int64, len(c.raws)), make([]float64, len(c.raws))
	for i, v := range c.raws {
		r.Time[i], r.Value[i] = v.time*int64(time.Millisecond), v.value
	}
	return r
}

// appendRolls adds points, with room for all of them made first.
func appendRolls(r *store.Result, points []roll.Roll) {
	n := len(points)
	r.Time, r.Value, r.Min, r.Max = slices.Grow(r.Time, n), slices.Grow(r.Value, n), slices.Grow(r.Min, n), slices.Grow(r.Max, n)
	r.Std, r.Count = slices.Grow(r.Std, n), slices.Grow(r.Count, n)
	for i := range points {
		r.AppendRoll(&points[i])
	}
}
