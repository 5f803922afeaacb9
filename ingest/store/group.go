package store

import "hawser/detect/reading"

// Bytes a group is taken to cost per reading and per series: the columns, and
// the headers with the readings' share of the map of a store.
const (
	readingBytes = 8 + 8 + 1
	seriesBytes  = 160
)

// group is copies of blocks in a few long arrays, so that a filled group costs no
// allocation once it has been full before. Arrays that grow leave the columns cut
// from them before in the old memory, where they stay good.
type group struct {
	entries []Entry
	blocks  []reading.Block
	series  []reading.Series
	times   []int64
	values  []float64
	quality []reading.Quality
	bytes   int
	last    uint64 // position of the newest entry, with or without readings
}

func (g *group) empty() bool { return g.last == 0 }

func (g *group) reset() {
	g.entries, g.blocks, g.series = g.entries[:0], g.blocks[:0], g.series[:0]
	g.times, g.values, g.quality = g.times[:0], g.values[:0], g.quality[:0]
	g.bytes, g.last = 0, 0
}

// readings is the number of readings in the group.
func (g *group) readings() int { return len(g.times) }

// add copies the block, which may be nil, and takes note of its position. Of one
// without readings nothing is kept: however many come, they cost no memory.
func (g *group) add(position uint64, berth string, block *reading.Block) {
	g.last = position
	if block == nil {
		return
	}
	first := len(g.series)
	for i := range block.Series {
		if s := &block.Series[i]; s.Len() > 0 {
			g.series = append(g.series, g.copySeries(s))
			g.bytes += seriesBytes + readingBytes*s.Len()
		}
	}
	if len(g.series) == first {
		return
	}
	g.blocks = append(g.blocks, reading.Block{
		Sequence: block.Sequence, CompleteUntil: block.CompleteUntil, Series: g.series[first:],
	})
	g.entries = append(g.entries, Entry{Berth: berth, Block: &g.blocks[len(g.blocks)-1]})
}

func (g *group) copySeries(s *reading.Series) reading.Series {
	n := len(g.times)
	g.times = append(g.times, s.Time...)
	g.values = append(g.values, s.Value...)
	out := reading.Series{Channel: s.Channel, Decimals: s.Decimals, Time: g.times[n:], Value: g.values[n:]}
	if s.Quality != nil {
		n = len(g.quality)
		g.quality = append(g.quality, s.Quality...)
		out.Quality = g.quality[n:]
	}
	return out
}
