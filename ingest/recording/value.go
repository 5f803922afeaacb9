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

// maxDigits is how many digits a value may have to be a whole number over a power
// of ten, both exact in float64.
const maxDigits = 15

// setValue reads a value. What is no decimal number makes a bad reading, and
// setValue reports false.
func (r *row) setValue(p []byte) bool {
	p = bytes.TrimSpace(p)
	v, err := strconv.ParseFloat(string(p), 64)
	whole, decimals, ok := grid(p)
	if err != nil || !ok {
		r.value, r.quality = 0, reading.Bad
		return false
	}
	r.value, r.whole, r.decimals = v+0, whole, decimals // + 0 so that a zero has no sign
	return true
}

// grid counts the digits of a decimal number before and after its point, but for
// zeros past the ninth; decimals is -1 where they are more than a grid may have, or
// there is an exponent. It is not ok where p has what strconv reads beyond decimal
// numbers: hexadecimal, infinities.
func grid(p []byte) (whole, decimals int8, ok bool) {
	digits, point, onGrid := 0, -1, true
	for _, b := range p {
		switch {
		case b-'0' <= 9:
			digits++
		case b == '.':
			point = digits
		case b == 'e' || b == 'E':
			onGrid = false
		case b != '+' && b != '-':
			return 0, 0, false
		}
	}
	if point < 0 {
		point = digits
	}
	for i := len(p) - 1; digits-point > 9 && p[i] == '0'; i-- {
		digits--
	}
	if !onGrid || digits > maxDigits || digits-point > 9 {
		return 0, -1, true
	}
	return int8(point), int8(digits - point), true
}
