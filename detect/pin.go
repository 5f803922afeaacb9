package detect

import "math"

const (
	staleAfter  = 5 * second / 2 // a load older than this is not a present load, nor one older than slowStale readings
	slowStale   = 2
	slowSpacing = 1.2 // s; pins that send less often hold their load in between
	secondsKept = 128 // one-second means kept
)

// pin is what a line's load pin measures, kN. A reading becomes the median of itself
// and the two before: an isolated spike has no effect, a step comes one reading later.
// The medians are averaged over ticks, seconds and minutes.
type pin struct {
	Last     float64 // newest load, NaN before the first
	LastAt   int64   // time of the newest good reading
	Prev     [2]float64
	Seen     int64   // good readings ever
	Interval float64 // usual time between them, s, no more than 2
	Spacing  float64 // the same, s, no more than until a gap is a fault
	MBL      float64

	ReceivedAt int64 // time of the newest reading, good or bad
	Tally      [10]tally
	OutRun     int32   // readings in a row outside what a line can carry
	OutSince   int64   // time of the first of them
	Out        float64 // the newest of them

	SpikeAt, PrevSpikeAt int64   // time of a spike not yet counted, of the one before; 0 for none
	Spike                float64 // its value, kN
	UsualLift            float64 // mean difference of a reading from the mean of its neighbours, kN
	Spikes               [spikesToRaise]int64
	SpikeCount           int64

	Raw, Resolution float64 // newest reading as it came; least difference ever between two
	MovedAt         int64   // time of the newest reading other than the one before it, 0 for none
	Same            int64   // good readings from it on
	NewEvery        float64 // how many there usually are to the next such
	Still           stand   // of the readings as they came, within a step and a half of Resolution
	Calm            stand   // the same, within stuckDigits of Resolution

	Sum, Count float64 // of the present tick
	TickBins   [ticksPerSecond]bin
	SecSum     float64 // of the present second
	SecCount   float64
	Secs       [secondsKept]float64 // NaN where the second had no reading
	SecAt      int64                // seconds ever closed
}

// bin is the sum and number of the readings of a tick.
type bin struct{ Sum, Count float64 }

// tally counts a second's readings.
type tally struct{ Good, Bad int32 }

// reading takes a reading.
func (p *pin) reading(s *sample) {
	v := s.Value
	p.ReceivedAt = s.Time
	if math.IsNaN(v) {
		p.Tally[p.SecAt%10].Bad++
		return
	}
	p.Tally[p.SecAt%10].Good++
	if v < rangeLow*p.MBL || v > rangeHigh*p.MBL {
		if p.OutRun == 0 {
			p.OutSince = s.Time
		}
		p.Out = v
		p.OutRun++
		return
	}
	if p.OutRun == 1 { // an isolated one is a spike, a run is out of range
		p.SpikeAt, p.Spike = p.OutSince, p.Out
	}
	p.OutRun = 0
	if p.Seen == 0 {
		p.Prev = [2]float64{v, v}
	}
	p.trackStill(v, s.Time)
	m := median3(p.Prev[0], p.Prev[1], v)
	p.spike(p.Prev[0], p.Prev[1], v, s.Time)
	p.Prev[0], p.Prev[1] = p.Prev[1], v
	if p.Seen > 0 {
		apart := float64(s.Time-p.LastAt) / float64(second)
		p.Interval += (min(apart, 2) - p.Interval) / 16
		p.Spacing += (min(apart, float64(gapAfter)/float64(second)) - p.Spacing) / 16
	}
	p.Last, p.LastAt = m, s.Time
	p.Seen++
	p.Sum += m
	p.Count++
}

// tick closes the tick.
func (p *pin) tick(now moment) {
	p.TickBins[now.Tick%int64(ticksPerSecond)] = bin{p.Sum, p.Count}
	p.SecSum += p.Sum
	p.SecCount += p.Count
	p.Sum, p.Count = 0, 0
	if now.Second {
		if p.SecCount == 0 && p.Spacing > slowSpacing && p.fresh(now) {
			p.SecSum, p.SecCount = p.Last, 1
		}
		p.Secs[p.SecAt%secondsKept] = p.SecSum / p.SecCount // NaN for none
		p.SecAt++
		p.Tally[p.SecAt%10] = tally{}
		p.SecSum, p.SecCount = 0, 0
	}
}

// fresh reports whether there is a present load.
func (p *pin) fresh(now moment) bool {
	return p.Seen > 0 && now.Time-p.LastAt <= max(staleAfter, min(int64(slowStale*p.Spacing*float64(second)), gapAfter))
}

// lastSecond is the mean over the last second, or the last load where that second has
// no reading (sensors at 1 Hz), kN.
func (p *pin) lastSecond() float64 {
	var sum, n float64
	for _, t := range p.TickBins {
		sum += t.Sum
		n += t.Count
	}
	if n == 0 {
		return p.Last
	}
	return sum / n
}

// mean over the last n whole seconds, at most secondsKept, kN; ok is false where fewer
// than half of them have readings.
func (p *pin) mean(n int64) (v float64, ok bool) {
	var sum float64
	var have int64
	for k := p.SecAt - min(n, p.SecAt); k < p.SecAt; k++ {
		if s := p.Secs[k%secondsKept]; !math.IsNaN(s) {
			sum += s
			have++
		}
	}
	if have == 0 || 2*have < n {
		return 0, false
	}
	return sum / float64(have), true
}

// intervalTicks is the usual time between readings, in ticks.
func (p *pin) intervalTicks() int64 { return int64(p.Interval*float64(ticksPerSecond) + 0.5) }
