package tsdb

import (
	"math"

	"github.com/prometheus/prometheus/model/value"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb/chunkenc"

	"hawser/detect/reading"
)

// unixMillis is the time of a sample. It is an alias so that vet does not take the
// Seek of a series for that of a file.
type unixMillis = int64

// joined is a channel's series: its numbers in base units, from every form they are
// stored in, and a stale marker at each reading that is no number.
func (p *parts) joined() storage.Series {
	series := make([]storage.Series, 0, len(p.readings)+len(p.quality))
	for _, r := range p.readings {
		series = append(series, &storage.SeriesEntry{Lset: p.labels, SampleIteratorFn: func(chunkenc.Iterator) chunkenc.Iterator {
			return &numbers{Iterator: r.series.Iterator(nil), since: p.since, factor: p.factor, scale: scale(r.decimals)}
		}})
	}
	for _, q := range p.quality {
		series = append(series, &storage.SeriesEntry{Lset: p.labels, SampleIteratorFn: func(chunkenc.Iterator) chunkenc.Iterator {
			return &gaps{Iterator: q.Iterator(nil), since: p.since}
		}})
	}
	if len(series) == 1 {
		return series[0]
	}
	return storage.ChainedSeriesMerge(series...)
}

// numbers turns stored numbers into values in base units, from a time on.
type numbers struct {
	chunkenc.Iterator
	since         int64
	factor, scale float64
}

func (n *numbers) Next() chunkenc.ValueType {
	kind := n.Iterator.Next()
	if kind != chunkenc.ValNone && n.AtT() < n.since {
		return n.Iterator.Seek(n.since)
	}
	return kind
}

func (n *numbers) Seek(t unixMillis) chunkenc.ValueType { return n.Iterator.Seek(max(t, n.since)) }

// At multiplies before it divides: of whole numbers the result is the float64 nearest
// to the decimal one.
func (n *numbers) At() (int64, float64) {
	t, v := n.Iterator.At()
	return t, v * n.factor / n.scale
}

// gaps turns codes of readings that are no numbers into stale markers, and passes
// over the others.
type gaps struct {
	chunkenc.Iterator
	since int64
}

func (g *gaps) Next() chunkenc.ValueType {
	for {
		kind := g.Iterator.Next()
		if kind == chunkenc.ValNone || g.bad() {
			return kind
		}
	}
}

func (g *gaps) Seek(t unixMillis) chunkenc.ValueType {
	kind := g.Iterator.Seek(t)
	if kind == chunkenc.ValNone || g.bad() {
		return kind
	}
	return g.Next()
}

func (g *gaps) bad() bool {
	t, code := g.Iterator.At()
	return t >= g.since && code == float64(reading.Bad)
}

func (g *gaps) At() (int64, float64) { return g.AtT(), math.Float64frombits(value.StaleNaN) }
