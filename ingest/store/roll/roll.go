// Package roll reduces readings to what is kept of them for years: count, least,
// mean and greatest value and standard deviation of each second, ten seconds,
// minute and ten minutes of a channel. It reads no store and knows no series.
// Invariant: the roll of a span is what reckoning it from the stored readings of
// the span gives, whatever order they came in and however often.
//
// It holds because a roll is never added to. Whatever comes into a span of ten
// minutes, be it late or a repeat, puts that span on the list of those that wait
// (Pending), on disk, before the reading is stored; the Roller reckons it anew from
// the stored readings once nothing has come into it for a while, and only then
// takes it off. A question about a span that waits is answered from the readings.
//
//	append ─► Begin: span on the list ─► readings stored ─► End
//	                     │ settled
//	                  Roller ─► reckon from the stored readings ─► rolls written ─► off the list
//
// Readings are only ever added, so of two reckonings of a span the one of more
// readings is the newer. Where the stored readings are fewer than the roll has,
// some have gone since: that roll stays as it is. A store takes no reading so late
// that others of its span may have gone already.
package roll

import "math"

// MaxDecimals is the finest grid of whole numbers.
const MaxDecimals = 9

// NoGrid are the decimals of numbers on no grid.
const NoGrid int8 = -1

var scales = [MaxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// Scale is 10^decimals, 1 for NoGrid.
func Scale(decimals int8) float64 {
	if decimals < 0 {
		return 1
	}
	return scales[decimals]
}

// Bounds within which sums of whole numbers and of their squares are exact: the sum
// fits 63 bits, the squares times the count 128.
const (
	maxWhole = 1 << 34
	maxSum   = 1 << 62
)

// Roll is what is kept of the readings of one span. Of readings on a grid of
// decimals (value = number / 10^decimals) it holds whole sums, so rolls of parts
// add up to the roll of the whole to the last bit; of others, mean and squared
// deviations in floating point. The zero Roll is of no readings.
type Roll struct {
	// Time is the span's start, Unix nanoseconds.
	Time int64
	// Count is the number of readings.
	Count int64

	decimals int8
	low, top float64 // least and greatest number
	sum      int64   // of numbers on a grid
	squares  wide    // of numbers on a grid
	mean, m2 float64 // of others: mean, sum of squared deviations from it
}

// Add takes in one reading, given as a number of 10^-decimals.
func (r *Roll) Add(number float64, decimals int8) {
	if decimals < 0 || decimals != r.decimals || r.Count == 0 || r.Count >= maxSum/maxWhole ||
		number > maxWhole || number < -maxWhole {
		one := single(r.Time, number, decimals)
		r.Merge(&one)
		return
	}
	n := int64(number)
	r.low, r.top = min(r.low, number), max(r.top, number)
	r.sum += n
	r.squares = r.squares.plus(product(n, n))
	r.Count++
}

func single(t int64, number float64, decimals int8) Roll {
	r := Roll{Time: t, Count: 1, decimals: decimals, low: number, top: number}
	if decimals >= 0 && math.Abs(number) <= maxWhole {
		n := int64(number)
		r.sum, r.squares = n, product(n, n)
		return r
	}
	v := number / Scale(decimals)
	return Roll{Time: t, Count: 1, decimals: NoGrid, low: v, top: v, mean: v}
}

// Of is a roll from its figures, where the readings are no longer at hand. std is
// the standard deviation of all count readings.
func Of(t, count int64, low, mean, top, std float64) Roll {
	return Roll{Time: t, Count: count, decimals: NoGrid, low: low, top: top, mean: mean, m2: std * std * float64(count)}
}

// Min is the least reading.
func (r *Roll) Min() float64 { return r.low / Scale(r.decimals) }

// Max is the greatest reading.
func (r *Roll) Max() float64 { return r.top / Scale(r.decimals) }

// Mean is the readings' mean.
func (r *Roll) Mean() float64 {
	if r.decimals < 0 {
		return r.mean
	}
	return float64(r.sum) / (Scale(r.decimals) * float64(r.Count))
}

// Std is the standard deviation of these readings, not an estimate of it for
// others: the root of the mean squared deviation from their mean. Of one reading it
// is 0.
func (r *Roll) Std() float64 {
	n := float64(r.Count)
	if r.decimals < 0 {
		return math.Sqrt(r.m2 / n)
	}
	return math.Sqrt(r.spread().float()) / (n * Scale(r.decimals))
}

// spread is count times the squares less the square of the sum, which is the
// variance of the numbers times the square of the count.
func (r *Roll) spread() wide {
	return r.squares.times(uint64(r.Count)).minus(product(r.sum, r.sum))
}

// Merge takes in the roll of other readings. Where both are on a grid the finer one
// holds both.
func (r *Roll) Merge(o *Roll) {
	if o.Count == 0 {
		return
	}
	if r.Count == 0 {
		t := r.Time
		*r = *o
		r.Time = t
		return
	}
	a := *o
	if r.decimals >= 0 && a.decimals >= 0 {
		d := max(r.decimals, a.decimals)
		if r.refine(d) && a.refine(d) && fits(max(r.reach(), a.reach()), r.Count+a.Count) {
			r.low, r.top = min(r.low, a.low), max(r.top, a.top)
			r.sum += a.sum
			r.squares = r.squares.plus(a.squares)
			r.Count += a.Count
			return
		}
	}
	r.leaveGrid()
	a.leaveGrid()
	// Chan, Golub and LeVeque, "Updating formulae and a pairwise algorithm for
	// computing sample variances", 1979, equation 2.1.
	n, m := float64(r.Count), float64(a.Count)
	delta := a.mean - r.mean
	r.mean += delta * m / (n + m)
	r.m2 += a.m2 + delta*delta*n*m/(n+m)
	r.low, r.top = min(r.low, a.low), max(r.top, a.top)
	r.Count += a.Count
}

// reach is how far the roll's numbers go from 0.
func (r *Roll) reach() float64 { return max(math.Abs(r.low), math.Abs(r.top)) }

func fits(reach float64, count int64) bool {
	return reach <= maxWhole && reach*float64(count) <= maxSum
}

// refine takes a roll to a finer grid, if its numbers are not too large for that.
func (r *Roll) refine(decimals int8) bool {
	if decimals == r.decimals {
		return true
	}
	by := Scale(decimals - r.decimals)
	if !fits(r.reach()*by, r.Count) {
		return false
	}
	n := uint64(by)
	r.low, r.top, r.sum, r.squares = r.low*by, r.top*by, r.sum*int64(n), r.squares.times(n).times(n)
	r.decimals = decimals
	return true
}

// leaveGrid turns a roll to floating point.
func (r *Roll) leaveGrid() {
	if r.decimals < 0 {
		return
	}
	mean, std := r.Mean(), r.Std()
	*r = Of(r.Time, r.Count, r.Min(), mean, r.Max(), std)
}
