// Package storetest is the test suite that every store passes, and the readings
// it is fed. It never judges a store by another store: what must come back is what
// was sent.
package storetest

import (
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"hawser/detect/reading"
)

// Start is the time of the first reading of all that is generated.
var Start = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// Source makes the blocks of one berth: per line tension at 10 Hz in steps of
// 0.1 kN (a slow sine, an 8 s wave and 0.5 kN of noise), pay-out and brake at 1 Hz,
// and the wind. A block is one second.
type Source struct {
	lines  int
	rng    *rand.Rand
	second int64
	block  reading.Block
}

// NewSource makes a source. The same seed gives the same readings.
func NewSource(lines int, seed uint64) *Source {
	return &Source{lines: lines, rng: rand.New(rand.NewPCG(seed, 1))}
}

// LineName is the name of line i, from 0.
func LineName(i int) string { return strconv.Itoa(i + 1) }

// Next is the next second. The block is good until the call after.
func (s *Source) Next() *reading.Block {
	b := &s.block
	b.Sequence++
	if b.Series == nil {
		b.Series = make([]reading.Series, 3*s.lines+1)
	}
	base := Start.UnixNano() + s.second*int64(time.Second)
	for l := range s.lines {
		tension := s.begin(3*l, reading.Channel{Line: LineName(l), Kind: reading.Tension}, 1)
		for i := range 10 {
			at := float64(s.second) + float64(i)/10
			kN := 200 + 50*math.Sin(2*math.Pi*at/3600+float64(l)) + 20*math.Sin(2*math.Pi*at/8+float64(l)) +
				0.5*s.rng.NormFloat64()
			add(tension, base+int64(i)*1e8, math.Round(kN*10)/10)
		}
		payout := s.begin(3*l+1, reading.Channel{Line: LineName(l), Kind: reading.Payout}, 2)
		add(payout, base, math.Round(100*math.Sin(2*math.Pi*float64(s.second)/7200))/100)
		brake := s.begin(3*l+2, reading.Channel{Line: LineName(l), Kind: reading.Brake}, 0)
		add(brake, base, 1)
	}
	wind := s.begin(3*s.lines, reading.Channel{Kind: reading.WindSpeed}, -1)
	add(wind, base, 8+s.rng.NormFloat64())
	b.CompleteUntil = base + int64(time.Second) - 1
	s.second++
	return b
}

func (s *Source) begin(i int, c reading.Channel, decimals int8) *reading.Series {
	series := &s.block.Series[i]
	series.Reset()
	series.Channel, series.Decimals = c, decimals
	return series
}

func add(s *reading.Series, t int64, v float64) {
	s.Time = append(s.Time, t)
	s.Value = append(s.Value, v)
}

// Copy is a block that stays.
func Copy(b *reading.Block) *reading.Block {
	out := &reading.Block{Sequence: b.Sequence, CompleteUntil: b.CompleteUntil}
	for _, s := range b.Series {
		s.Time = append([]int64(nil), s.Time...)
		s.Value = append([]float64(nil), s.Value...)
		s.Quality = append([]reading.Quality(nil), s.Quality...)
		if len(s.Quality) == 0 {
			s.Quality = nil
		}
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

// Readings is the number of readings in a block.
func Readings(b *reading.Block) int {
	n := 0
	for i := range b.Series {
		n += b.Series[i].Len()
	}
	return n
}
