package batch

import (
	"encoding/binary"
	"fmt"
	"math"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"

	"hawser/detect/reading"
)

// column is a Column message taken apart but not yet read.
type column struct {
	channel                       []byte
	base                          int64
	tick, period, count, decimals uint32

	timeDeltas, valueDeltas, exactValues, qualities repeated
}

// repeated is the content of a repeated scalar field. Protobuf lets a sender
// write it packed, element by element, or in several pieces of either; the
// elements' bytes are the same, so joining the pieces gives the packed form.
type repeated struct {
	packed []byte
	joined []byte // memory for the rare case of more than one piece
	pieces int
}

func (r *repeated) reset() { r.packed, r.pieces = nil, 0 }

func (r *repeated) add(piece []byte) {
	r.pieces++
	switch r.pieces {
	case 1:
		r.packed = piece
		return
	case 2:
		r.joined = append(r.joined[:0], r.packed...)
	}
	r.joined = append(r.joined, piece...)
	r.packed = r.joined
}

// wholeVarints reports whether a piece does not end within a varint.
func wholeVarints(p []byte) bool { return len(p) == 0 || p[len(p)-1] < 0x80 }

// split takes the message apart, or reports that it is no protobuf.
func (c *column) split(p []byte) bool {
	c.channel, c.base, c.tick, c.period, c.count, c.decimals = nil, 0, 0, 0, 0, 0
	c.timeDeltas.reset()
	c.valueDeltas.reset()
	c.exactValues.reset()
	c.qualities.reset()
	var f field
	for len(p) > 0 {
		n := f.take(p)
		if n < 0 || !c.set(&f) {
			return false
		}
		p = p[n:]
	}
	return true
}

const (
	fixed64Type     = uint64(protowire.Fixed64Type)
	bytesToVarint   = uint64(protowire.BytesType) - uint64(protowire.VarintType)
	oneTimeDelta    = tagTimeDeltas - bytesToVarint
	oneValueDelta   = tagValueDeltas - bytesToVarint
	oneQuality      = tagQualities - bytesToVarint
	oneExactValue   = tagExactValues - uint64(protowire.BytesType) + fixed64Type
	bytesOfOneExact = 8
)

func (c *column) set(f *field) bool {
	switch f.tag {
	case tagChannel:
		c.channel = f.content
		return utf8.Valid(f.content)
	case tagBaseTime:
		c.base = int64(f.number)
	case tagTick:
		c.tick = uint32(f.number)
	case tagPeriod:
		c.period = uint32(f.number)
	case tagCount:
		c.count = uint32(f.number)
	case tagDecimals:
		c.decimals = uint32(f.number)
	case tagTimeDeltas, oneTimeDelta:
		c.timeDeltas.add(f.content)
		return wholeVarints(f.content)
	case tagValueDeltas, oneValueDelta:
		c.valueDeltas.add(f.content)
		return wholeVarints(f.content)
	case tagQualities, oneQuality:
		c.qualities.add(f.content)
		return wholeVarints(f.content)
	case tagExactValues, oneExactValue:
		c.exactValues.add(f.content)
		return len(f.content)%bytesOfOneExact == 0
	}
	return true
}

// wellFormed reports whether every packed varint is one.
func (c *column) wellFormed() bool {
	for _, p := range [...][]byte{c.timeDeltas.packed, c.valueDeltas.packed, c.qualities.packed} {
		for len(p) > 0 {
			_, n := protowire.ConsumeVarint(p)
			if n < 0 {
				return false
			}
			p = p[n:]
		}
	}
	return true
}

func faultf(reason, format string, args ...any) *ColumnFault {
	return &ColumnFault{Reason: reason, Err: fmt.Errorf(format, args...)}
}

// unpack reads the column into s, or says why it cannot be.
func (d *Decoder) unpack(c *column, s *reading.Series) *ColumnFault {
	channel, err := d.channel(c.channel)
	if err != nil {
		return &ColumnFault{Reason: ReasonChannel, Err: err}
	}
	if fault := c.checkCounts(); fault != nil {
		return fault
	}
	n := int(c.count)
	times, values := d.times.take(n), d.values.take(n)
	fault := c.readTimes(times)
	if fault == nil {
		fault = c.readValues(values)
	}
	var qualities []reading.Quality
	if fault == nil && len(c.qualities.packed) > 0 {
		qualities, fault = d.readQualities(c, values)
	}
	if fault == nil {
		fault = c.checkReadings(times, values, qualities)
	}
	if fault != nil {
		d.times.giveBack(n)
		d.values.giveBack(n)
		return fault
	}
	s.Channel, s.Time, s.Value, s.Quality, s.Decimals = channel, times, values, qualities, -1
	if len(c.exactValues.packed) == 0 {
		s.Decimals = int8(c.decimals)
	}
	return nil
}

// checkCounts rejects what cannot have count elements by its length alone, so
// that a few bytes cannot ask for much memory.
func (c *column) checkCounts() *ColumnFault {
	n := int64(c.count)
	switch {
	case n == 0 || n > MaxSamples:
		return faultf(ReasonCount, "count is %d, expected 1 to %d", n, MaxSamples)
	case c.decimals > MaxDecimals:
		return faultf(ReasonValue, "decimals is %d, expected at most %d", c.decimals, MaxDecimals)
	case len(c.exactValues.packed) > 0 && len(c.valueDeltas.packed) > 0:
		return faultf(ReasonCount, "both value_deltas and exact_values, expected one of them")
	case len(c.exactValues.packed) > 0:
		if got := len(c.exactValues.packed) / bytesOfOneExact; got != int(n) {
			return wrongCount("exact_values", got, int(n))
		}
	case len(c.valueDeltas.packed) < int(n):
		return wrongCount("value_deltas", varints(c.valueDeltas.packed), int(n))
	}
	return nil
}

func wrongCount(name string, got, want int) *ColumnFault {
	return faultf(ReasonCount, "%s has %d elements, expected %d", name, got, want)
}

// varints counts the varints in p by their last bytes.
func varints(p []byte) int {
	n := 0
	for _, b := range p {
		if b < 0x80 {
			n++
		}
	}
	return n
}

// varint takes one varint off p at i; the length is 0 at the end and negative
// for none. Most are a byte or two.
func varint(p []byte, i int) (uint64, int) {
	if i+1 < len(p) {
		b0, b1 := p[i], p[i+1]
		if b0 < 0x80 {
			return uint64(b0), 1
		}
		if b1 < 0x80 {
			return uint64(b0&0x7f) | uint64(b1)<<7, 2
		}
	} else if i >= len(p) {
		return 0, 0
	}
	return protowire.ConsumeVarint(p[i:])
}

func (c *column) readTimes(times []int64) *ColumnFault {
	if c.base <= 0 {
		return faultf(ReasonTime, "base_time_unix_nano is %d, expected more than 0", c.base)
	}
	tick := int64(c.tick)
	if tick == 0 {
		tick = defaultTick
	}
	times[0] = c.base
	p := c.timeDeltas.packed
	if len(p) == 0 {
		return c.readBeat(times, tick)
	}
	t, period, at, limit := c.base, int64(c.period), 0, maxStep/tick
	for i := 1; i < len(times); i++ {
		u, n := varint(p, at)
		if n <= 0 {
			return wrongCount("time_deltas", varints(p), len(times)-1)
		}
		at += n
		ticks := period + protowire.DecodeZigZag(u)
		if uint64(ticks+limit) > 2*uint64(limit) {
			return faultf(ReasonTime, "reading %d: a step of over 146 years", i)
		}
		if t += ticks * tick; t <= 0 {
			return faultf(ReasonTime, "reading %d: time is not between 1970 and 2262", i)
		}
		times[i] = t
	}
	if at != len(p) {
		return wrongCount("time_deltas", varints(p), len(times)-1)
	}
	return nil
}

// readBeat is readTimes for a regular series.
func (c *column) readBeat(times []int64, tick int64) *ColumnFault {
	period, steps := int64(c.period), int64(len(times)-1)
	if steps > 0 && period > (math.MaxInt64-c.base)/tick/steps {
		return faultf(ReasonTime, "a reading's time is not between 1970 and 2262")
	}
	t, step := c.base, tick*period // unused, and free to wrap, where there is one reading
	for i := range times {
		times[i] = t
		t += step
	}
	return nil
}

func (c *column) readValues(values []float64) *ColumnFault {
	if p := c.exactValues.packed; len(p) > 0 {
		for i := range values {
			values[i] = math.Float64frombits(binary.LittleEndian.Uint64(p[8*i:]))
		}
		return nil
	}
	p, at, n, scale := c.valueDeltas.packed, 0, int64(0), scaleOf(int(c.decimals))
	for i := range values {
		u, size := varint(p, at)
		if size <= 0 {
			return wrongCount("value_deltas", varints(p), len(values))
		}
		at += size
		n += protowire.DecodeZigZag(u)
		if uint64(n+maxScaled) > 2*uint64(maxScaled) {
			return faultf(ReasonValue, "reading %d: scaled value is beyond 2^53", i)
		}
		values[i] = float64(n) / scale
	}
	if at != len(p) {
		return wrongCount("value_deltas", varints(p), len(values))
	}
	return nil
}

// readQualities gives nil where every reading is good. A bad reading's value
// means nothing and becomes 0.
func (d *Decoder) readQualities(c *column, values []float64) ([]reading.Quality, *ColumnFault) {
	p, at, good := c.qualities.packed, 0, true
	qualities := d.qualities.take(len(values))
	for i := range qualities {
		u, n := varint(p, at)
		if n <= 0 {
			return nil, wrongCount("qualities", varints(p), len(values))
		}
		at += n
		q := uint32(u) // an enum is 32 bits
		if q > uint32(reading.Late) {
			return nil, faultf(ReasonQuality, "reading %d: unknown quality %d", i, int32(q))
		}
		qualities[i] = reading.Quality(q)
		good = good && q == uint32(reading.Good)
		if qualities[i] == reading.Bad {
			values[i] = 0
		}
	}
	switch {
	case at != len(p):
		return nil, wrongCount("qualities", varints(p), len(values))
	case good:
		d.qualities.giveBack(len(values))
		return nil, nil
	}
	return qualities, nil
}

// checkReadings is what can only be judged with the qualities at hand.
func (c *column) checkReadings(times []int64, values []float64, q []reading.Quality) *ColumnFault {
	if len(c.exactValues.packed) > 0 {
		for i, v := range values {
			if !finite(v) {
				return faultf(ReasonValue, "reading %d: value %v is not marked bad", i, v)
			}
		}
	}
	if oldest, newest := span(times, q); newest-oldest > MaxSpan {
		return faultf(ReasonTime, "readings span %d s, expected at most %d s", (newest-oldest)/1e9, MaxSpan/1e9)
	}
	return nil
}
