// Package batch packs a reading.Block into the bytes of hawser.v1.Batch and
// unpacks them again. It is the only code that knows those bytes where speed
// matters. It never keeps, sends or judges readings, and knows no plan: whether
// a line exists is for others.
//
// Its invariants: a block packed and unpacked is the same block, to the bit of
// every value; Decode takes exactly the bytes that protobuf's own decoder takes
// and reads the same from them; every value it gives is finite; a fault in one
// column costs that column only.
//
// A batch is one line of fields, each a tag byte and its content. Fields in
// brackets are left out where they say nothing:
//
//	Batch   08 sequence │ 10 complete until, ns │ 1a len Column │ 1a len Column …
//
//	Column  0a len channel │ 10 base time, ns │[18 tick, ns]│[20 period, ticks]│
//	        [2a len time deltas]│ 30 count │[38 decimals]│
//	        42 len value deltas  or  4a len doubles, 8 bytes each │[52 len qualities]
//
// Numbers are varints, deltas zigzag varints. Three readings of a load pin at
// 10 Hz, 88.5, 88.0 and 88.5 kN from 2026-01-01T00:00:00Z, are
//
//	0a 09 37 2f 74 65 6e 73 69 6f 6e          "7/tension"
//	10 80 80 e8 ef 9e ca 9c c3 18             1,767,225,600,000,000,000 ns
//	20 64                                     a step of 100 ticks of 1 ms (tick left out)
//	30 03                                     three readings
//	38 01                                     one digit after the point
//	42 04 ea 0d 09 0a                         +885, -5, +5
//
// so a further reading costs one byte. Times off the beat cost one byte more
// each, a quality another; values on no decimal grid cost eight.
//
// A value in decimals form is n / 10^decimals with n a whole number within
// ±2^53. Both are exact in float64 and division rounds correctly, so the value
// is the very float64 that its decimal text parses to.
package batch

import (
	"errors"
	"fmt"
	"math"
)

// The limits of a batch. The first four are those of the schema.
const (
	MaxBytes    = 1 << 20 // of a batch
	MaxColumns  = 512     // in a batch
	MaxSamples  = 20_000  // in a column
	MaxDecimals = 9
	// MaxChannel is the length of a channel's name, characters.
	MaxChannel = 40
	// MaxSpan is the time from the oldest to the newest reading of a column,
	// nanoseconds. Late readings do not count: they may be of any age.
	MaxSpan int64 = 3600e9
	// maxStep bounds the time from one reading to the next, either way,
	// nanoseconds: 146 years, so that no sum of two overflows.
	maxStep int64 = 1 << 62
	// maxScaled is the largest whole number float64 holds with all below it.
	maxScaled int64 = 1 << 53
	// maxFitted is the largest whole number Append looks for: a value and its
	// product with a power of ten are each rounded by at most 2^-53 of themselves,
	// a quarter together here, so that the nearest whole number is the right one.
	maxFitted = 1 << 50
	// defaultTick is what a tick of 0 means, nanoseconds.
	defaultTick = 1_000_000
)

// The reasons of a ColumnFault, in the form of a google.rpc.ErrorInfo reason.
const (
	ReasonChannel = "UNKNOWN_CHANNEL"
	ReasonCount   = "WRONG_COUNT" // columns of unequal or forbidden length
	ReasonTime    = "BAD_TIME"
	ReasonValue   = "BAD_VALUE"
	ReasonQuality = "BAD_QUALITY"
)

// ErrMalformed is under every error of Decode for bytes that are no batch at
// all: no protobuf, torn, or too many.
var ErrMalformed = errors.New("not a batch")

// ColumnFault is a column that cannot be used.
type ColumnFault struct {
	Column  int    // index in the batch
	Channel string // as sent, cut to MaxChannel characters
	Reason  string // one of the Reason constants
	Err     error  // what was found and expected
}

// Error names the column: `columns[3] 7/tension: tick ...`.
func (f ColumnFault) Error() string {
	return fmt.Sprintf("columns[%d] %s: %v", f.Column, f.Channel, f.Err)
}

// Unwrap gives the cause.
func (f ColumnFault) Unwrap() error { return f.Err }

// The tag bytes: field number << 3 | wire type.
const (
	wireVarint = 0 // protobuf wire types
	wireBytes  = 2 // and text, and messages

	tagSequence      = 1<<3 | wireVarint
	tagCompleteUntil = 2<<3 | wireVarint
	tagColumn        = 3<<3 | wireBytes

	tagChannel     = 1<<3 | wireBytes
	tagBaseTime    = 2<<3 | wireVarint
	tagTick        = 3<<3 | wireVarint
	tagPeriod      = 4<<3 | wireVarint
	tagTimeDeltas  = 5<<3 | wireBytes
	tagCount       = 6<<3 | wireVarint
	tagDecimals    = 7<<3 | wireVarint
	tagValueDeltas = 8<<3 | wireBytes
	tagExactValues = 9<<3 | wireBytes
	tagQualities   = 10<<3 | wireBytes
)

// scaleOf is 10^decimals, exact in float64 up to 22 digits.
func scaleOf(decimals int) float64 {
	return [MaxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}[decimals]
}

func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }
