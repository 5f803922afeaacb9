package roll

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"slices"

	"github.com/klauspost/compress/s2"
)

// A page is the rolls of one channel and resolution over one stretch of time:
//
//	4 bytes   CRC-32C of the rest, little-endian
//	1 byte    form, 1
//	the rest  S2 block of unsigned varints: number of rolls, then column by column
//
//	column     a roll on a grid                      a roll on none
//	index      steps since the roll before, less 1   the same; the first from the page's start
//	decimals   zigzag of the change                  the same, NoGrid
//	count      zigzag of the change                  the same
//	middle m   zigzag of the change of sum/count,    of the bits of the mean
//	           rounded
//	rest       zigzag of sum - count*m               0
//	deviation  sum of (number - m)^2                 bits of m2
//	below      m - least number                      bits of the least value
//	above      greatest number - m                   bits of the greatest value
const (
	pageForm   = 1
	pageHeader = 5
	columns    = 8
	// maxPage is the most rolls of a page, and maxPageBytes of its columns.
	maxPage      = 1024
	maxPageBytes = maxPage * columns * binary.MaxVarintLen64
)

// ErrDamaged is a page that cannot be read.
var ErrDamaged = errors.New("page of rolls is damaged")

func castagnoli(p []byte) uint32 { return crc32.Checksum(p, crc32.MakeTable(crc32.Castagnoli)) }

// Packer writes pages, in memory that is used again.
type Packer struct {
	rows  [][columns]uint64
	plain []byte
}

// Page writes rolls, ordered by time, as a page that begins at start; step is that
// of the rolls, both nanoseconds. It panics on more than 1,024 rolls.
func (p *Packer) Page(rolls []Roll, start, step int64) []byte {
	if len(rolls) > maxPage {
		panic("roll: page of too many rolls")
	}
	p.rows = append(p.rows[:0], make([][columns]uint64, len(rolls))...)
	rows := p.rows
	var last struct{ index, decimals, count, middle int64 }
	last.index = -1
	for i := range rolls {
		r := rolls[i]
		middle, dev, onGrid := r.about()
		if !onGrid {
			r.leaveGrid()
			middle = int64(math.Float64bits(r.mean))
		}
		index := (r.Time - start) / step
		row := &rows[i]
		row[0] = uint64(index - last.index - 1)
		row[1] = zigzag(int64(r.decimals) - last.decimals)
		row[2] = zigzag(r.Count - last.count)
		row[3] = zigzag(middle - last.middle)
		if onGrid {
			row[4] = zigzag(r.sum - r.Count*middle)
			row[5] = dev
			row[6], row[7] = uint64(middle-int64(r.low)), uint64(int64(r.top)-middle)
		} else {
			row[5], row[6], row[7] = math.Float64bits(r.m2), math.Float64bits(r.low), math.Float64bits(r.top)
		}
		last.index, last.decimals, last.count, last.middle = index, int64(r.decimals), r.Count, middle
	}
	plain := binary.AppendUvarint(p.plain[:0], uint64(len(rolls)))
	for c := range columns {
		for i := range rows {
			plain = binary.AppendUvarint(plain, rows[i][c])
		}
	}
	p.plain = plain
	page := make([]byte, pageHeader+s2.MaxEncodedLen(len(plain)))
	page[4] = pageForm
	page = page[:pageHeader+len(s2.Encode(page[pageHeader:], plain))]
	binary.LittleEndian.PutUint32(page, castagnoli(page[4:]))
	return page
}

// about is a roll's middle number and the squared deviations from it, if it is on a
// grid and they fit a word.
func (r *Roll) about() (middle int64, dev uint64, ok bool) {
	if r.decimals < 0 {
		return 0, 0, false
	}
	middle = int64(math.Round(float64(r.sum) / float64(r.Count)))
	middle = min(max(middle, int64(r.low)), int64(r.top)) // rounding may pass an end of large ones
	// Σ(n-m)² = Σn² - m(2Σn - count·m)
	w := r.squares
	if factor := 2*r.sum - r.Count*middle; (factor < 0) == (middle < 0) {
		w = w.minus(product(middle, factor))
	} else {
		w = w.plus(product(middle, factor))
	}
	return middle, w.lo, w.hi == 0
}

// Unpacker reads pages, in memory that is used again.
type Unpacker struct{ plain []byte }

// Append appends the rolls of a page to dst. The error is ErrDamaged with the place,
// and nothing is appended then.
func (u *Unpacker) Append(dst []Roll, page []byte, start, step int64) ([]Roll, error) {
	if len(page) < pageHeader || page[4] != pageForm {
		return dst, fmt.Errorf("%w: %d bytes without the head of one", ErrDamaged, len(page))
	}
	if castagnoli(page[4:]) != binary.LittleEndian.Uint32(page) {
		return dst, fmt.Errorf("%w: its checksum is wrong", ErrDamaged)
	}
	if n, err := s2.DecodedLen(page[pageHeader:]); err != nil || n > maxPageBytes {
		return dst, fmt.Errorf("%w: block of %d bytes: %v", ErrDamaged, n, err)
	}
	var err error
	if u.plain, err = s2.Decode(u.plain[:cap(u.plain)], page[pageHeader:]); err != nil {
		return dst, fmt.Errorf("%w: %v", ErrDamaged, err)
	}
	w := words{text: u.plain}
	count := w.next()
	if w.short || count > maxPage {
		return dst, fmt.Errorf("%w: %d rolls", ErrDamaged, count)
	}
	first := len(dst)
	dst = slices.Grow(dst, int(count))[:first+int(count)]
	readColumns(dst[first:], &w, start, step)
	if w.short {
		return dst[:first], fmt.Errorf("%w: its columns end before %d rolls do", ErrDamaged, count)
	}
	return dst, nil
}

// words reads unsigned varints.
type words struct {
	text  []byte
	at    int
	short bool // there were less than were read
}

func (w *words) next() uint64 {
	if w.at < len(w.text) && w.text[w.at] < 0x80 {
		w.at++
		return uint64(w.text[w.at-1])
	}
	v, n := binary.Uvarint(w.text[w.at:])
	if n <= 0 {
		w.short, w.at = true, len(w.text)
		return 0
	}
	w.at += n
	return v
}

// readColumns fills rolls column by column.
func readColumns(rolls []Roll, w *words, start, step int64) {
	index, decimals, count, middle := int64(-1), int64(0), int64(0), int64(0)
	for i := range rolls {
		index += int64(w.next()) + 1
		rolls[i] = Roll{Time: start + index*step}
	}
	for i := range rolls {
		decimals += unzigzag(w.next())
		rolls[i].decimals = int8(min(max(decimals, int64(NoGrid)), MaxDecimals))
	}
	for i := range rolls {
		count += unzigzag(w.next())
		rolls[i].Count = count
	}
	for i := range rolls {
		middle += unzigzag(w.next())
		if r := &rolls[i]; r.decimals < 0 {
			r.mean = math.Float64frombits(uint64(middle))
		} else {
			r.low, r.top, r.sum = float64(middle), float64(middle), r.Count*middle
		}
	}
	for i := range rolls {
		if v := w.next(); rolls[i].decimals >= 0 {
			rolls[i].sum += unzigzag(v)
		}
	}
	for i := range rolls {
		rolls[i].deviation(w.next())
	}
	for i := range rolls {
		if v := w.next(); rolls[i].decimals < 0 {
			rolls[i].low = math.Float64frombits(v)
		} else {
			rolls[i].low -= float64(v)
		}
	}
	for i := range rolls {
		if v := w.next(); rolls[i].decimals < 0 {
			rolls[i].top = math.Float64frombits(v)
		} else {
			rolls[i].top += float64(v)
		}
	}
}

// deviation takes in the squared deviations, from the middle where the roll is on a
// grid: Σn² = Σ(n-m)² + m(2Σn - count·m).
func (r *Roll) deviation(v uint64) {
	if r.decimals < 0 {
		r.m2 = math.Float64frombits(v)
		return
	}
	middle := int64(r.low)
	factor := 2*r.sum - r.Count*middle
	if r.squares = (wide{lo: v}); (factor < 0) == (middle < 0) {
		r.squares = r.squares.plus(product(middle, factor))
	} else {
		r.squares = r.squares.minus(product(middle, factor))
	}
}

func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(v uint64) int64 { return int64(v>>1) ^ -int64(v&1) }
