package fatigue

import (
	"math"
	"slices"
)

// Sink takes counted cycles: from and to are a range's turning points in the order
// they came, halves is 1 for a half cycle and 2 for a whole one.
type Sink interface {
	Cycle(from, to float64, halves uint64)
}

// MaxResidue bounds the turning points of ranges that are not closed. The ranges of
// a residue shrink from one to the next, so that a history on a grid of a
// thousandth of its span cannot have more than 1,000; those of moorings have some
// ten to thirty. Where there are more the oldest range is counted as a half cycle,
// as the standard does with it at the end of a history.
const MaxResidue = 256

// Counter counts rainflow cycles in memory that does not grow. The zero value is
// ready. Its fields are its whole state.
type Counter struct {
	Turning Turning `json:"turning"`
	// Residue is the turning points of ranges not closed yet, oldest first.
	Residue []float64 `json:"residue"`
	// Cut counts the ranges that were counted early for want of room.
	Cut uint64 `json:"cut,omitempty"`
}

// Push takes a sample, a finite number, and hands what it closes to the sink. It
// gives the turning point that the sample has shown, if it has.
func (c *Counter) Push(x, gate float64, to Sink) (point float64, ok bool) {
	if point, ok = c.Turning.Next(x, gate); ok {
		c.turn(point, to)
	}
	return point, ok
}

// turn takes a turning point. The letters are those of the standard: X is the
// range under consideration, Y the one before it.
func (c *Counter) turn(point float64, to Sink) {
	r := c.Residue
	if len(r) == MaxResidue {
		to.Cycle(r[0], r[1], 1)
		r = slices.Delete(r, 0, 1)
		c.Cut++
	}
	r = append(r, point)
	for len(r) >= 3 {
		n := len(r)
		x, y := math.Abs(r[n-1]-r[n-2]), math.Abs(r[n-2]-r[n-3])
		if x < y {
			break
		}
		if n == 3 { // Y has the starting point
			to.Cycle(r[0], r[1], 1)
			r = append(r[:0], r[1], r[2])
			continue
		}
		to.Cycle(r[n-3], r[n-2], 2)
		r = append(r[:n-3], r[n-1])
	}
	c.Residue = r
}

// Rest hands to the sink what a history that ended here would still count: what
// its last point closes, and the residue as half cycles. The counter stays as it is.
func (c *Counter) Rest(to Sink) {
	end := Counter{Residue: slices.Clone(c.Residue)}
	if point, ok := c.Turning.Open(); ok {
		end.turn(point, to)
	}
	for i := 1; i < len(end.Residue); i++ {
		to.Cycle(end.Residue[i-1], end.Residue[i], 1)
	}
}
