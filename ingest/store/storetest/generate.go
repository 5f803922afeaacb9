// Package storetest is the test suite that every store passes, and the readings
// it is fed. It never judges a store by another store: what must come back is what
// was sent.
package storetest

import (
	"math/rand/v2"
	"slices"
	"strconv"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/simulate"
)

// Start is the time of the first reading of all that is generated.
var Start = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// Source makes the blocks of one berth, a second each: a simulate.Load, and the wind,
// whose numbers are on no grid.
type Source struct {
	load *simulate.Load
	rng  *rand.Rand
	wind reading.Series
}

// NewSource makes a source. The same seed gives the same readings.
func NewSource(lines int, seed uint64) *Source {
	return &Source{
		load: simulate.NewLoad(lines, seed, Start), rng: rand.New(rand.NewPCG(seed, 1)),
		wind: reading.Series{Channel: reading.Channel{Kind: reading.WindSpeed}, Decimals: -1, Time: make([]int64, 1), Value: make([]float64, 1)},
	}
}

// LineName is the name of line i, from 0.
func LineName(i int) string { return strconv.Itoa(i + 1) }

// Next is the next second. The block is good until the call after.
func (s *Source) Next() *reading.Block {
	b := s.load.Next()
	s.wind.Time[0], s.wind.Value[0] = b.CompleteUntil+1-int64(time.Second), 8+s.rng.NormFloat64()
	b.Series = append(b.Series, s.wind)
	return b
}

func add(s *reading.Series, t int64, v float64) {
	s.Time = append(s.Time, t)
	s.Value = append(s.Value, v)
}

// Copy is a block that stays.
func Copy(b *reading.Block) *reading.Block {
	out := &reading.Block{Sequence: b.Sequence, CompleteUntil: b.CompleteUntil}
	for _, s := range b.Series {
		s.Time, s.Value, s.Quality = slices.Clone(s.Time), slices.Clone(s.Value), slices.Clone(s.Quality)
		out.Series = append(out.Series, s)
	}
	return out
}

// Blocks is the first n blocks of a source, all kept.
func Blocks(lines, n int, seed uint64) []*reading.Block {
	s := NewSource(lines, seed)
	out := make([]*reading.Block, n)
	for i := range out {
		out[i] = Copy(s.Next())
	}
	return out
}
