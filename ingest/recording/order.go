package recording

import (
	"slices"

	"hawser/detect/reading"
)

// order puts rows into windows and lets the windows go when their time is
// closed. See the package comment for the rule.
type order struct {
	window int64 // ns

	open   []*bucket // by time, none empty
	spare  []*bucket
	held   int   // rows in open
	newest int64 // time of the newest row
	closed int64 // rows before this time are late
	given  int64 // the promise that the blocks so far have given

	lone    row  // the row that is far ahead of the others
	hasLone bool // and still to be borne out

	waiting []row // late and lone rows for the next block
	late    uint64
	ahead   uint64
}

// maxSpare bounds the buckets kept for reuse; windows open and close in turn.
const maxSpare = 8

// bucket is the rows of one window, in the order of the file.
type bucket struct {
	start int64
	rows  []row
}

func (o *order) add(r row) {
	if o.hasLone {
		o.hasLone = false
		if r.time >= o.lone.time-reading.Lateness {
			o.place(o.lone)
		} else {
			o.ahead++
			o.wait(o.lone)
		}
	}
	if r.time-o.newest > maxJump {
		o.lone, o.hasLone = r, true
		return
	}
	o.place(r)
}

func (o *order) place(r row) {
	if r.time < o.closed {
		if r.quality == reading.Good {
			o.late++
		}
		o.wait(r)
		return
	}
	b := o.bucket(r.time)
	b.rows = append(b.rows, r)
	o.held++
	if r.time > o.newest {
		o.newest = r.time
		if settled := o.newest - reading.Lateness; settled >= o.closed+o.window {
			o.closed = settled - settled%o.window
		}
	}
}

// wait keeps a row for the next block. A bad reading stays bad.
func (o *order) wait(r row) {
	if r.quality == reading.Good {
		r.quality = reading.Late
	}
	o.waiting = append(o.waiting, r)
}

// bucket finds or opens the window of a time. There are at most Lateness/window
// + 2 of them, and nearly always the last is right.
func (o *order) bucket(at int64) *bucket {
	i := len(o.open)
	for i > 0 && at < o.open[i-1].start {
		i--
	}
	if i > 0 && at < o.open[i-1].start+o.window {
		return o.open[i-1]
	}
	var b *bucket
	if n := len(o.spare); n > 0 {
		b, o.spare = o.spare[n-1], o.spare[:n-1]
	} else {
		b = &bucket{}
	}
	b.start = at - at%o.window
	o.open = slices.Insert(o.open, i, b)
	return b
}

func (o *order) settled() bool { return len(o.open) > 0 && o.open[0].start < o.closed }

// ready reports whether a block must go out before the next row.
func (o *order) ready() bool {
	return o.settled() || len(o.waiting) >= maxLate || o.held >= maxHeld
}

// release hands what is ready to the cutter.
func (o *order) release(c *cutter) {
	switch {
	case o.settled():
		o.given = o.open[0].start + o.window - 1
		o.releaseOldest(c)
	case o.held >= maxHeld:
		o.releaseOldest(c)
	default:
		o.releaseWaiting(c)
	}
}

// finish hands over what is left at the end of the file, one block a call, and
// reports false when nothing is.
func (o *order) finish(c *cutter) bool {
	if o.hasLone {
		o.hasLone = false
		o.place(o.lone) // nothing follows that it could make late
	}
	switch {
	case len(o.open) > 1 || o.settled():
		o.given = o.open[0].start + o.window - 1
		o.releaseOldest(c)
	case len(o.open) == 1:
		o.given = o.newest
		o.releaseOldest(c)
	case len(o.waiting) > 0 || o.given < o.newest:
		o.given = o.newest
		o.releaseWaiting(c)
	default:
		return false
	}
	return true
}

func (o *order) releaseWaiting(c *cutter) {
	c.rows = append(c.rows[:0], o.waiting...)
	o.waiting = o.waiting[:0]
	c.start(o.given)
}

func (o *order) releaseOldest(c *cutter) {
	b := o.open[0]
	o.open = slices.Delete(o.open, 0, 1)
	o.held -= len(b.rows)
	if len(o.waiting) > 0 {
		c.rows = append(append(c.rows[:0], o.waiting...), b.rows...)
		o.waiting = o.waiting[:0]
	} else {
		c.rows, b.rows = b.rows, c.rows
	}
	b.rows = b.rows[:0]
	if cap(b.rows) <= maxBlockRows && len(o.spare) < maxSpare { // an odd giant is not kept
		o.spare = append(o.spare, b)
	}
	c.start(o.given)
}
