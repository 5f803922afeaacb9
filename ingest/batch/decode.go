package batch

import (
	"fmt"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"

	"hawser/detect/reading"
)

// maxNames bounds the channel names a Decoder remembers. When full it forgets
// them all and starts afresh.
const maxNames = 4096

// Decoder unpacks batches. The zero value is ready. It keeps the memory of the
// largest batch it has seen, at most some 40 MiB, and once warm allocates
// nothing for a batch without faults. It is not safe for concurrent use.
type Decoder struct {
	block  reading.Block
	faults []ColumnFault
	names  map[string]reading.Channel

	times     arena[int64]
	values    arena[float64]
	qualities arena[reading.Quality]
	column    column
}

// Decode unpacks one batch. Series i is column i; a column with a fault has an
// empty series and an entry in the faults, which rise by column. An error is a
// fault of the whole batch; where the bytes are no batch at all it is an
// ErrMalformed. All that is returned is valid until the next Decode, channel
// names for ever.
func (d *Decoder) Decode(p []byte) (*reading.Block, []ColumnFault, error) {
	d.block.Sequence, d.block.CompleteUntil = 0, 0
	d.block.Series, d.faults = d.block.Series[:0], d.faults[:0]
	d.times.used, d.values.used, d.qualities.used = 0, 0, 0
	if err := d.decode(p); err != nil {
		return nil, nil, err
	}
	return &d.block, d.faults, nil
}

func (d *Decoder) decode(p []byte) error {
	if len(p) > MaxBytes {
		return fmt.Errorf("%w: %d bytes, expected at most %d", ErrMalformed, len(p), MaxBytes)
	}
	b := &d.block
	var f field
	for rest := p; len(rest) > 0; {
		n := f.take(rest)
		if n < 0 {
			return fmt.Errorf("%w: no field at byte %d", ErrMalformed, len(p)-len(rest))
		}
		rest = rest[n:]
		switch f.tag {
		case tagSequence:
			b.Sequence = f.number
		case tagCompleteUntil:
			b.CompleteUntil = int64(f.number)
		case tagColumn:
			if err := d.addColumn(f.content); err != nil {
				return err
			}
		}
	}
	if b.Sequence == 0 {
		return fmt.Errorf("sequence is 0, expected 1 or more")
	}
	if b.CompleteUntil < 0 {
		return fmt.Errorf("complete_until_unix_nano is %d, expected 0 or more", b.CompleteUntil)
	}
	return nil
}

// addColumn unpacks a column into the next series.
func (d *Decoder) addColumn(p []byte) error {
	i := len(d.block.Series)
	if i == MaxColumns {
		return fmt.Errorf("over %d columns", MaxColumns)
	}
	if i < cap(d.block.Series) {
		d.block.Series = d.block.Series[:i+1]
	} else {
		d.block.Series = append(d.block.Series, reading.Series{})
	}
	s := &d.block.Series[i]
	*s = reading.Series{}

	c := &d.column
	if !c.split(p) {
		return fmt.Errorf("%w: columns[%d] is damaged", ErrMalformed, i)
	}
	fault := d.unpack(c, s)
	if fault == nil {
		return nil
	}
	// Unpacking stopped early: what was not looked at may be no protobuf.
	*s = reading.Series{}
	if !c.wellFormed() {
		return fmt.Errorf("%w: columns[%d] is damaged", ErrMalformed, i)
	}
	fault.Column, fault.Channel = i, clip(c.channel)
	d.faults = append(d.faults, *fault)
	return nil
}

// channel finds a channel by name without allocating for one it knows.
func (d *Decoder) channel(name []byte) (reading.Channel, error) {
	if c, ok := d.names[string(name)]; ok {
		return c, nil
	}
	if n := utf8.RuneCount(name); n == 0 || n > MaxChannel {
		return reading.Channel{}, fmt.Errorf("channel name of %d characters, expected 1 to %d", n, MaxChannel)
	}
	kept := string(name)
	c, err := reading.ParseChannel(kept)
	if err != nil {
		return c, err
	}
	if d.names == nil {
		d.names = make(map[string]reading.Channel)
	} else if len(d.names) == maxNames {
		clear(d.names)
	}
	d.names[kept] = c
	return c, nil
}

// clip cuts a name to what an error message has room for.
func clip(name []byte) string {
	if n := utf8.RuneCount(name); n <= MaxChannel {
		return string(name)
	}
	return string([]rune(string(name))[:MaxChannel])
}

// field is one field of a message.
type field struct {
	tag     uint64
	number  uint64 // of a varint
	content []byte // of the other wire types; of a varint its bytes
}

// take reads the first field of p and gives its length, negative if p does not
// start with one. Fields the schema does not have, and those it has in another
// wire type, are read like any other and passed over by their tag.
func (f *field) take(p []byte) int {
	tag, n := varint(p, 0)
	if n <= 0 || tag>>3 < uint64(protowire.MinValidNumber) || tag>>3 > uint64(protowire.MaxValidNumber) {
		return -1
	}
	f.tag = tag
	switch kind := protowire.Type(tag & 7); kind {
	case protowire.VarintType:
		v, m := varint(p, n)
		if m <= 0 {
			return -1
		}
		f.number, f.content = v, p[n:n+m]
		return n + m
	case protowire.BytesType:
		v, m := varint(p, n)
		if m <= 0 || v > uint64(len(p)-n-m) {
			return -1
		}
		start := n + m
		end := start + int(v)
		f.content = p[start:end]
		return end
	default:
		m := protowire.ConsumeFieldValue(protowire.Number(tag>>3), kind, p[n:])
		if m < 0 {
			return -1
		}
		f.content = p[n : n+m]
		return n + m
	}
}

// arena hands out slices of one large one, so that a batch of any shape costs
// no allocation once the large one is large enough.
type arena[T any] struct {
	buf  []T
	used int
}

func (a *arena[T]) take(n int) []T {
	if len(a.buf)-a.used < n {
		// What was handed out of the old one stays valid with its holders.
		a.buf = make([]T, max(2*len(a.buf), n, 1024))
		a.used = 0
	}
	s := a.buf[a.used : a.used+n : a.used+n]
	a.used += n
	return s
}

func (a *arena[T]) giveBack(n int) { a.used -= n }
