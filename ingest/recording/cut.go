package recording

import (
	"cmp"
	"slices"

	"hawser/detect/reading"
)

// cutter makes blocks of rows: one of a window, or several of a large one.
type cutter struct {
	rows    []row
	at      int   // rows[:at] have been given
	promise int64 // of the last block of these rows
	waiting bool  // that block is still to come

	block     reading.Block
	series    []draft
	touched   []uint16 // channels of the block
	times     []int64
	values    []float64
	qualities []reading.Quality
}

// draft is what a block's series will be, by channel.
type draft struct {
	rows, next      int // length, and place in the columns
	whole, decimals int8
	offGrid, odd    bool // odd: a reading is not good
}

// start begins on c.rows. The promise goes with the last block of them.
func (c *cutter) start(promise int64) {
	byTime := func(a, b row) int { return cmp.Compare(a.time, b.time) }
	if !slices.IsSortedFunc(c.rows, byTime) {
		slices.SortStableFunc(c.rows, byTime)
	}
	c.at, c.promise, c.waiting = 0, promise, true
}

func (c *cutter) pending() bool { return c.waiting }

// next gives the next block, which may be without rows, for its promise.
func (c *cutter) next(known []named) *reading.Block {
	rows := c.measure(len(known))
	c.at += len(rows)
	c.block.Sequence++
	if c.at == len(c.rows) {
		c.waiting = false
		c.block.CompleteUntil = c.promise
	}
	slices.SortFunc(c.touched, func(a, b uint16) int { return cmp.Compare(known[a].name, known[b].name) })
	c.layOut(known, len(rows))
	for i := range rows {
		r := &rows[i]
		d := &c.series[r.channel]
		c.times[d.next], c.values[d.next] = r.time, r.value
		if d.odd {
			c.qualities[d.next] = r.quality
		}
		d.next++
	}
	return &c.block
}

// measure takes as many rows as fit a block and drafts their series.
func (c *cutter) measure(channels int) []row {
	for _, t := range c.touched {
		c.series[t] = draft{}
	}
	c.touched = c.touched[:0]
	if n := channels - len(c.series); n > 0 {
		c.series = append(c.series, make([]draft, n)...)
	}
	rows := c.rows[c.at:]
	rows = rows[:min(len(rows), maxBlockRows)]
	for i := range rows {
		r := &rows[i]
		d := &c.series[r.channel]
		if d.rows == maxSeriesRows || d.rows == 0 && len(c.touched) == maxBlockSeries {
			return rows[:i]
		}
		if d.rows == 0 {
			c.touched = append(c.touched, r.channel)
		}
		d.rows++
		d.odd = d.odd || r.quality != reading.Good
		if r.quality == reading.Bad {
			continue // its value says nothing of the grid
		}
		d.offGrid = d.offGrid || r.decimals < 0
		d.whole, d.decimals = max(d.whole, r.whole), max(d.decimals, r.decimals)
	}
	return rows
}

// layOut shares the columns' memory out to the series.
func (c *cutter) layOut(known []named, n int) {
	c.times, c.values, c.qualities = resize(c.times, n), resize(c.values, n), resize(c.qualities, n)
	c.block.Series = c.block.Series[:0]
	next := 0
	for _, t := range c.touched {
		d := &c.series[t]
		from, to := next, next+d.rows
		d.next, next = from, to
		s := reading.Series{
			Channel: known[t].channel, Time: c.times[from:to:to], Value: c.values[from:to:to], Decimals: d.decimals,
		}
		// Within maxDigits every value scaled to the grid is exact.
		if d.offGrid || int(d.whole)+int(d.decimals) > maxDigits {
			s.Decimals = -1
		}
		if d.odd {
			s.Quality = c.qualities[from:to:to]
		}
		c.block.Series = append(c.block.Series, s)
	}
}

func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, 2*n)
	}
	return s[:n]
}
