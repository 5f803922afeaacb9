package detect

import "math"

// How far a line used to move beside the others says how far it should move while its pin
// stands still, whether or not they determine its load. The ranges of all loads are kept in
// blocks of half a minute. How lively a block was is the median, over the other pins, of
// their range by their usual range. A pin is stuck that stood still for a block in which
// it should have moved, even if it moved no more, for how lively the block was, than it
// ever did in ten minutes. That is looked at when a block ends, and when the pin has just
// stood for as long as it must.
//
// A line that may hang slack is left out. Source: a comparison of ranks needs no
// distribution; the figures are common practice, no source.
const (
	blockSeconds  = 30
	blocksKept    = 20
	minBlocks     = 8    // known before the pin came to a stand
	stillDigits   = 8    // of the last digit, least that the pin should have moved
	stillMinShare = 0.04 // of MBL; a line under this may hang slack
)

// rangeRecord holds the ranges of a line's load by block, kN; NaN where not known.
type rangeRecord struct {
	Low, High float64 // in the present block
	Blocks    [blocksKept]float64
}

func (r *rangeRecord) reset() {
	r.Low, r.High = math.Inf(1), math.Inf(-1)
	for k := range r.Blocks {
		r.Blocks[k] = missing
	}
}

// of is the range in a block, one of the last blocksKept.
func (r *rangeRecord) of(block int64) float64 { return r.Blocks[block%blocksKept] }

// usual is the mean range of the known blocks in from..to-1; ok is false where they are
// too few.
func (r *rangeRecord) usual(from, to int64) (mean float64, ok bool) {
	n := 0.0
	for block := from; block < to; block++ {
		if v := r.of(block); !math.IsNaN(v) {
			mean, n = mean+v, n+1
		}
	}
	return mean / n, n >= minBlocks
}

// blockOf is the block that holds a time, Unix nanoseconds.
func blockOf(t int64) int64 { return t / (blockSeconds * second) }

// recordRange takes the tick's load of line i.
func (b *Berth) recordRange(now moment, i int) {
	l := &b.state.Lines[i]
	r, v := &l.Range, l.Pin.Last
	if !b.monitored(now, i) || l.tended(now) {
		v = missing // and the block is not known
	}
	r.Low, r.High = min(r.Low, v), max(r.High, v)
	if block := blockOf(now.Time - 1); now.Time%(blockSeconds*second) == 0 {
		r.Blocks[block%blocksKept] = r.High - r.Low
		r.Low, r.High = math.Inf(1), math.Inf(-1)
	}
}

// stillAmongMovers reports whether line i's pin stood still where, by the other pins, it
// should have moved.
func (b *Berth) stillAmongMovers(now moment, i int) bool {
	l := &b.state.Lines[i]
	blockEnds := now.Time%(blockSeconds*second) == 0
	justDue := now.Second && l.Pin.LastAt-l.Pin.Still.Since < stuckFor+2*second
	if !blockEnds && !justDue || l.Pin.Last < stillMinShare*l.Pin.MBL {
		return false
	}
	end := blockOf(now.Time)
	oldest, stood := end-blocksKept, blockOf(l.Pin.Still.Since) // the block in which it came to a stand
	least, count, due := math.Inf(1), 0, 0.0
	for block := oldest; block < end; block++ {
		if block == stood {
			continue
		}
		lively, ok := b.liveliness(i, block, oldest, stood)
		if !ok {
			continue
		}
		if block > stood {
			due = max(due, lively)
		} else if own := l.Range.of(block); !math.IsNaN(own) && lively > 0 {
			least = min(least, own/lively)
			count++
		}
	}
	if count < minBlocks {
		return false
	}
	span, threshold := least*due, stillDigits*l.Pin.Resolution
	b.report(StuckRange, i, span, threshold)
	return span >= threshold
}

// liveliness of a block is the median, over the pins of other lines, of their range by
// their usual range in the blocks oldest..stood-1; ok is false for too few pins.
func (b *Berth) liveliness(i int, block, oldest, stood int64) (lively float64, ok bool) {
	var buf [64]float64
	ratios := buf[:0]
	for k := range b.state.Lines {
		l := &b.state.Lines[k]
		if k == i || l.Health.Fault != healthy || math.IsNaN(l.Range.of(block)) {
			continue
		}
		if usual, ok := l.Range.usual(oldest, stood); ok && usual > 0 {
			ratios = append(ratios, l.Range.of(block)/usual)
		}
	}
	return median(ratios), len(ratios) >= stuckMovers
}
