package recording

import (
	"bytes"
	"strconv"

	"hawser/detect/reading"
)

// row is one reading of a file.
type row struct {
	time    int64
	value   float64
	channel uint16 // index of names.known
	quality reading.Quality
	// whole and decimals are the digits before and after the point; decimals is
	// -1 where the value is not known to lie on a grid of up to nine.
	whole, decimals int8
}

// maxDigits is how many digits a value may have to be read as a whole number
// over a power of ten, both exact in float64, so that their quotient is the
// float64 nearest to the text.
const maxDigits = 15

// setValue reads a value. What is no decimal number makes a bad reading, and
// setValue reports false.
func (r *row) setValue(p []byte) bool {
	if r.setShort(p) {
		return true
	}
	p = bytes.Trim(p, " \t")
	if r.setShort(p) {
		return true
	}
	if isDecimal(p) {
		// An error is a number too large for float64, which is no use to anyone.
		if v, err := strconv.ParseFloat(string(p), 64); err == nil {
			r.value, r.whole, r.decimals = v, 0, -1
			if v == 0 {
				r.value = 0 // not -0
			}
			return true
		}
	}
	r.value, r.quality = 0, reading.Bad
	return false
}

// setShort reads what nearly every value is: a sign or none, a few digits, a
// point among them or not.
func (r *row) setShort(p []byte) bool {
	negative := false
	if len(p) > 0 && (p[0] == '-' || p[0] == '+') {
		negative = p[0] == '-'
		p = p[1:]
	}
	var n int64
	point, count := -1, len(p)
	for i, b := range p {
		switch {
		case b-'0' <= 9:
			n = n*10 + int64(b-'0')
		case b == '.' && point < 0:
			point = i
			count--
		default:
			return false
		}
		if i > maxDigits {
			return false
		}
	}
	if count == 0 {
		return false
	}
	if point < 0 {
		point = count
	}
	decimals := count - point
	for decimals > 9 && n%10 == 0 {
		n /= 10
		decimals--
	}
	if negative {
		n = -n
	}
	r.value = float64(n) / powers[decimals]
	r.whole, r.decimals = int8(point), int8(decimals)
	if decimals > 9 {
		r.decimals = -1
	}
	return true
}

var powers = [maxDigits + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// isDecimal reports whether p is a decimal number, with an exponent or none.
// strconv reads more than that: hexadecimal, infinities.
func isDecimal(p []byte) bool {
	if len(p) > 0 && (p[0] == '-' || p[0] == '+') {
		p = p[1:]
	}
	mantissa, exponent, has := bytes.Cut(p, []byte{'e'})
	if !has {
		mantissa, exponent, has = bytes.Cut(p, []byte{'E'})
	}
	whole, fraction, _ := bytes.Cut(mantissa, []byte{'.'})
	if len(whole)+len(fraction) == 0 || !allDigits(whole) || !allDigits(fraction) {
		return false
	}
	if !has {
		return true
	}
	if len(exponent) > 0 && (exponent[0] == '-' || exponent[0] == '+') {
		exponent = exponent[1:]
	}
	return len(exponent) > 0 && allDigits(exponent)
}

func allDigits(p []byte) bool {
	for _, b := range p {
		if b-'0' > 9 {
			return false
		}
	}
	return true
}
