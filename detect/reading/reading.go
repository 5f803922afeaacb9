// Package reading is the shared vocabulary of telemetry: which channels there
// are, what a reading is and what it is worth. It holds no state and does no
// I/O. Its invariant: the columns of a Series have equal length.
package reading

import (
	"fmt"
	"strings"
)

// Kind is what a channel measures.
type Kind uint8

// The kinds of channel. The first three belong to a line, the rest to the berth.
const (
	Unknown       Kind = iota
	Tension            // kN, load pin at the hook
	Payout             // m, line paid out past the drum since zeroing, positive outboard
	Brake              // 1 set, 0 released
	WindSpeed          // m/s at 10 m
	WindDirection      // degrees true, coming from
	WaterLevel         // m above chart datum
	DraftFwd           // m
	DraftAft           // m
	UnderWatch         // 1 made fast and under watch, 0 arriving or leaving
	kinds
)

var names = [kinds]string{
	Tension: "tension", Payout: "payout", Brake: "brake",
	WindSpeed: "wind/speed", WindDirection: "wind/direction", WaterLevel: "water/level",
	DraftFwd: "ship/draft-fwd", DraftAft: "ship/draft-aft", UnderWatch: "berth/watch",
}

var units = [kinds]string{
	Tension: "kN", Payout: "m", WindSpeed: "m/s", WindDirection: "deg",
	WaterLevel: "m", DraftFwd: "m", DraftAft: "m",
}

// String is the kind's part of a channel name: "tension", "wind/speed".
func (k Kind) String() string {
	if k == Unknown || k >= kinds {
		return "unknown"
	}
	return names[k]
}

// Unit is the kind's unit as written after a number, "" for a state.
func (k Kind) Unit() string {
	if k >= kinds {
		return ""
	}
	return units[k]
}

// OfLine reports whether the kind belongs to a line and not to the berth.
func (k Kind) OfLine() bool { return k == Tension || k == Payout || k == Brake }

// Channel names one stream of readings of a berth. Line is empty unless
// Kind.OfLine.
type Channel struct {
	Line string
	Kind Kind
}

// String is the channel's name in files and on the wire: "7/tension", "wind/speed".
func (c Channel) String() string {
	if c.Kind.OfLine() {
		return c.Line + "/" + c.Kind.String()
	}
	return c.Kind.String()
}

// ParseChannel reads a channel's name. Whether the plan has such a line is not
// its business.
func ParseChannel(name string) (Channel, error) {
	for k := WindSpeed; k < kinds; k++ {
		if name == names[k] {
			return Channel{Kind: k}, nil
		}
	}
	line, last, ok := strings.Cut(name, "/")
	if ok && line != "" {
		for k := Tension; k <= Brake; k++ {
			if last == names[k] {
				return Channel{Line: line, Kind: k}, nil
			}
		}
	}
	return Channel{}, fmt.Errorf("unknown channel %q", name)
}

// Quality is what a reading is worth.
type Quality uint8

const (
	// Good is a reading to act on.
	Good Quality = iota
	// Bad is something that is no number: NaN, infinite, empty, unparsable. The
	// value beside it is meaningless.
	Bad
	// Late is a reading that came to its source over Lateness behind its other
	// readings: stored, not detected on.
	Late
)

// Lateness is how far behind the newest reading of its source a reading may
// come and still be put in order, nanoseconds.
const Lateness int64 = 5e9

// Series is consecutive readings of one channel in columns.
type Series struct {
	Channel Channel
	// Time is Unix nanoseconds UTC.
	Time []int64
	// Value is in the channel's unit, finite where the quality is Good.
	Value []float64
	// Quality has the length of Time, or is nil where every reading is Good.
	Quality []Quality
	// Decimals is the number of digits after the point on whose grid every value
	// lies (value = whole number / 10^Decimals, exactly), or -1 for no such grid.
	Decimals int8
}

// Len is the number of readings.
func (s *Series) Len() int { return len(s.Time) }

// QualityAt is the quality of reading i.
func (s *Series) QualityAt(i int) Quality {
	if s.Quality == nil {
		return Good
	}
	return s.Quality[i]
}

// Reset empties the series, keeping its memory.
func (s *Series) Reset() {
	s.Channel = Channel{}
	s.Time, s.Value, s.Quality, s.Decimals = s.Time[:0], s.Value[:0], nil, 0
}

// Block is what a source sends at once: a span of series and the promise that
// goes with it.
type Block struct {
	// Sequence rises from block to block of a source; the first is 1.
	Sequence uint64
	// CompleteUntil is the source's promise, Unix nanoseconds: no good reading at
	// or before it follows this block. It never falls. 0 promises nothing.
	CompleteUntil int64
	Series        []Series
}

// Drop empties the series at these indexes, which an intake refused. Indexes
// beyond the block are passed over.
func (b *Block) Drop(columns []uint32) {
	for _, c := range columns {
		if int(c) < len(b.Series) {
			b.Series[c].Reset()
		}
	}
}

// Samples is the number of readings in the block.
func (b *Block) Samples() int {
	n := 0
	for i := range b.Series {
		n += b.Series[i].Len()
	}
	return n
}
