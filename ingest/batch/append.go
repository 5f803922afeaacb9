package batch

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"

	"hawser/detect/reading"
)

// Append adds the block's bytes to dst. Column i of the batch is the i-th series
// that is not empty. Values go in decimals form where Series.Decimals says so
// and every one of them is on that grid, else as float64. A bad reading's value
// goes as 0. A block that breaks the rules of its type or a limit of the batch
// gives an error naming the series, and dst as it was. It allocates nothing
// when dst has room, and is safe for concurrent use.
func Append(dst []byte, b *reading.Block) ([]byte, error) {
	if b.Sequence == 0 {
		return dst, errors.New("sequence is 0, expected 1 or more")
	}
	if b.CompleteUntil < 0 {
		return dst, fmt.Errorf("complete until is %d, expected 0 or more", b.CompleteUntil)
	}
	out := append(dst, tagSequence)
	out = protowire.AppendVarint(out, b.Sequence)
	if b.CompleteUntil > 0 {
		out = append(out, tagCompleteUntil)
		out = protowire.AppendVarint(out, uint64(b.CompleteUntil))
	}
	columns := 0
	for i := range b.Series {
		s := &b.Series[i]
		if s.Len() == 0 {
			continue
		}
		if columns++; columns > MaxColumns {
			return dst, fmt.Errorf("over %d series", MaxColumns)
		}
		var err error
		if out, err = appendColumn(out, s); err != nil {
			return dst, fmt.Errorf("series %d %s: %w", i, s.Channel, err)
		}
		if len(out)-len(dst) > MaxBytes {
			return dst, fmt.Errorf("series %d %s: batch is over %d bytes", i, s.Channel, MaxBytes)
		}
	}
	return out, nil
}

func appendColumn(dst []byte, s *reading.Series) ([]byte, error) {
	if err := checkShape(s); err != nil {
		return dst, err
	}
	tick, period, regular, err := beat(s)
	if err != nil {
		return dst, err
	}
	dst = append(dst, tagColumn)
	start := len(dst)
	dst = appendChannel(dst, s.Channel)
	dst = append(dst, tagBaseTime)
	dst = protowire.AppendVarint(dst, uint64(s.Time[0]))
	if tick != defaultTick {
		dst = append(dst, tagTick)
		dst = protowire.AppendVarint(dst, uint64(tick))
	}
	if period != 0 {
		dst = append(dst, tagPeriod)
		dst = protowire.AppendVarint(dst, uint64(period))
	}
	if !regular {
		dst = appendTimeDeltas(dst, s.Time, tick, period)
	}
	dst = append(dst, tagCount)
	dst = protowire.AppendVarint(dst, uint64(s.Len()))
	if dst, err = appendValues(dst, s); err != nil {
		return dst, err
	}
	if dst, err = appendQualities(dst, s); err != nil {
		return dst, err
	}
	return insertLength(dst, start), nil
}

// checkShape is what must hold of a series before anything is written.
func checkShape(s *reading.Series) error {
	n := s.Len()
	switch {
	case n > MaxSamples:
		return fmt.Errorf("%d readings, expected at most %d", n, MaxSamples)
	case len(s.Value) != n:
		return fmt.Errorf("%d values for %d times", len(s.Value), n)
	case s.Quality != nil && len(s.Quality) != n:
		return fmt.Errorf("%d qualities for %d times", len(s.Quality), n)
	case s.Channel.Kind.String() == reading.Unknown.String():
		return errors.New("unknown kind of channel")
	}
	line := s.Channel.Line
	if !s.Channel.Kind.OfLine() {
		if line != "" {
			return fmt.Errorf("line %q on a channel of the berth", line)
		}
		return nil
	}
	length := utf8.RuneCountInString(line) + 1 + len(s.Channel.Kind.String())
	if line == "" || length > MaxChannel || strings.Contains(line, "/") || !utf8.ValidString(line) {
		return fmt.Errorf("line %q makes no channel name of at most %d characters", line, MaxChannel)
	}
	return nil
}

func appendChannel(dst []byte, c reading.Channel) []byte {
	kind, line := c.Kind.String(), c.Line
	dst = append(dst, tagChannel)
	if line == "" {
		return protowire.AppendString(dst, kind)
	}
	dst = protowire.AppendVarint(dst, uint64(len(line)+1+len(kind)))
	dst = append(dst, line...)
	dst = append(dst, '/')
	return append(dst, kind...)
}

// beat checks the times and finds the tick that measures every step, the period
// in ticks, and whether the period alone gives every time.
func beat(s *reading.Series) (tick, period int64, regular bool, err error) {
	t := s.Time
	if t[0] <= 0 {
		return 0, 0, false, fmt.Errorf("reading 0: time %d is not after 1970", t[0])
	}
	oldest, newest := span(t, s.Quality)
	if newest-oldest > MaxSpan {
		return 0, 0, false, fmt.Errorf("readings span %d s, expected at most %d s", (newest-oldest)/1e9, MaxSpan/1e9)
	}
	if len(t) == 1 {
		return defaultTick, 0, true, nil
	}
	first, regular := t[1]-t[0], true
	for i := 1; i < len(t); i++ {
		step := t[i] - t[i-1]
		regular = regular && step == first
		if t[i] <= 0 {
			return 0, 0, false, fmt.Errorf("reading %d: time %d is not after 1970", i, t[i])
		}
		if step > maxStep || step < -maxStep {
			return 0, 0, false, fmt.Errorf("reading %d: step of %d s is over 146 years", i, step/1e9)
		}
	}
	tick = 1
	for _, unit := range [...]int64{1e6, 1e3} {
		if measures(unit, t, regular) {
			tick = unit
			break
		}
	}
	// The middle one of three steps is near the rest even if one is a gap.
	m, n := len(t)/2, len(t)-1
	middle, last := t[m]-t[m-1], t[n]-t[n-1]
	typical := max(min(first, last), min(max(first, last), middle))
	period = min(max(typical/tick, 0), math.MaxUint32)
	return tick, period, regular && period*tick == first, nil
}

// span gives the oldest and newest of the readings that are not late.
func span(t []int64, q []reading.Quality) (oldest, newest int64) {
	oldest, newest = math.MaxInt64, 0
	for i, at := range t {
		if q != nil && q[i] == reading.Late {
			continue
		}
		oldest, newest = min(oldest, at), max(newest, at)
	}
	return min(oldest, newest), newest
}

// measures reports whether every step is a whole number of units.
func measures(unit int64, t []int64, regular bool) bool {
	if regular {
		return (t[1]-t[0])%unit == 0
	}
	for i := range t {
		if (t[i]-t[0])%unit != 0 {
			return false
		}
	}
	return true
}

func appendTimeDeltas(dst []byte, t []int64, tick, period int64) []byte {
	dst = append(dst, tagTimeDeltas)
	start := len(dst)
	for i := 1; i < len(t); i++ {
		dst = protowire.AppendVarint(dst, protowire.EncodeZigZag((t[i]-t[i-1])/tick-period))
	}
	return insertLength(dst, start)
}

func appendValues(dst []byte, s *reading.Series) ([]byte, error) {
	if s.Decimals >= 0 && s.Decimals <= MaxDecimals {
		if out, ok := appendScaled(dst, s); ok {
			return out, nil
		}
	}
	dst = append(dst, tagExactValues)
	dst = protowire.AppendVarint(dst, uint64(8*s.Len()))
	for i, v := range s.Value {
		if s.QualityAt(i) == reading.Bad {
			v = 0
		}
		if !finite(v) {
			return dst, fmt.Errorf("reading %d: value %v is not marked bad", i, v)
		}
		dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(v))
	}
	return dst, nil
}

// appendScaled writes the decimals form, or reports that a value is not on the
// grid or too far from zero to tell. Negative zero is not on it: it would come
// back as zero.
func appendScaled(dst []byte, s *reading.Series) ([]byte, bool) {
	if s.Decimals > 0 {
		dst = append(dst, tagDecimals, byte(s.Decimals))
	}
	dst = append(dst, tagValueDeltas)
	start := len(dst)
	scale := scaleOf(int(s.Decimals))
	var last int64
	for i, v := range s.Value {
		if s.Quality != nil && s.Quality[i] == reading.Bad {
			v = 0
		}
		// Up to maxFitted the two roundings are too small to miss n.
		whole := math.RoundToEven(v * scale)
		n := int64(whole)
		if !(math.Abs(whole) <= maxFitted) || math.Float64bits(float64(n)/scale) != math.Float64bits(v) {
			return dst, false
		}
		u := protowire.EncodeZigZag(n - last)
		last = n
		if u < 0x80 {
			dst = append(dst, byte(u))
		} else {
			dst = protowire.AppendVarint(dst, u)
		}
	}
	return insertLength(dst, start), true
}

func appendQualities(dst []byte, s *reading.Series) ([]byte, error) {
	good := true
	for i, q := range s.Quality {
		if q > reading.Late {
			return dst, fmt.Errorf("reading %d: unknown quality %d", i, q)
		}
		good = good && q == reading.Good
	}
	if good {
		return dst, nil
	}
	dst = append(dst, tagQualities)
	dst = protowire.AppendVarint(dst, uint64(len(s.Quality)))
	for _, q := range s.Quality {
		dst = append(dst, byte(q))
	}
	return dst, nil
}

// insertLength puts the length of dst[start:] in front of it. Moving the bytes
// up is cheaper than finding the length beforehand.
func insertLength(dst []byte, start int) []byte {
	size := len(dst) - start
	var room [binary.MaxVarintLen64]byte
	prefix := protowire.AppendVarint(room[:0], uint64(size))
	dst = append(dst, prefix...)
	copy(dst[start+len(prefix):], dst[start:start+size])
	copy(dst[start:], prefix)
	return dst
}
