package roll

import "math/bits"

// wide is a whole number of 128 bits, 0 or more: a sum of squares of whole numbers,
// which has no rounding.
type wide struct{ hi, lo uint64 }

func (w wide) plus(o wide) wide {
	lo, carry := bits.Add64(w.lo, o.lo, 0)
	hi, _ := bits.Add64(w.hi, o.hi, carry)
	return wide{hi, lo}
}

func (w wide) minus(o wide) wide {
	lo, borrow := bits.Sub64(w.lo, o.lo, 0)
	hi, _ := bits.Sub64(w.hi, o.hi, borrow)
	return wide{hi, lo}
}

func (w wide) times(n uint64) wide {
	hi, lo := bits.Mul64(w.lo, n)
	return wide{hi + w.hi*n, lo}
}

func (w wide) float() float64 { return float64(w.hi)*(1<<64) + float64(w.lo) }

// product is a times b for numbers of one sign, else their distance from 0.
func product(a, b int64) wide {
	hi, lo := bits.Mul64(distance(a), distance(b))
	return wide{hi, lo}
}

// distance is how far a number is from 0.
func distance(a int64) uint64 {
	if a < 0 {
		return uint64(-a)
	}
	return uint64(a)
}
