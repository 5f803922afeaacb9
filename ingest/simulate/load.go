package simulate

import (
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"hawser/detect/reading"
)

// Load is readings that look like a berth's to a journal or a store and cost
// next to nothing: for each line a slow sine, an 8 s wave and noise of 0.5 kN in
// steps of 0.1 kN at 10 Hz; a drum that moves 1 cm about every 90 s and a brake
// that is set, at 1 Hz. There is no ship behind it. It is for one goroutine at a
// time; making a block allocates nothing once the first is made.
type Load struct {
	rng    *rand.Rand
	lines  []loadLine
	next   int64            // start of the next window, Unix nanoseconds
	series []reading.Series // ours; the block's may be emptied by who takes it
	block  reading.Block
}

// loadLine is one line's load and drum. The sines turn by a fixed angle a
// sample, which is a multiplication and no call of sine.
type loadLine struct {
	meanKN     float64
	slow, wave turning
	payoutCM   float64
}

const (
	loadTensionHz = 10
	loadSlowKN    = 40
	loadWaveKN    = 6
	loadNoiseKN   = 0.5
	loadWaveS     = 8
	loadMoveS     = 90 // mean time between moves of a drum
)

// turning is a point on the unit circle that turns by a fixed angle each step.
type turning struct{ cos, sin, stepCos, stepSin float64 }

func newTurning(periodS, phase float64) turning {
	t := turning{}
	t.sin, t.cos = math.Sincos(phase)
	t.stepSin, t.stepCos = math.Sincos(2 * math.Pi / (periodS * loadTensionHz))
	return t
}

func (t *turning) turn() float64 {
	t.cos, t.sin = t.cos*t.stepCos-t.sin*t.stepSin, t.sin*t.stepCos+t.cos*t.stepSin
	return t.sin
}

// settle takes off what rounding has added to the radius.
func (t *turning) settle() {
	r := math.Hypot(t.cos, t.sin)
	t.cos, t.sin = t.cos/r, t.sin/r
}

// Fleet is that many berths' loads of that many lines each, all different and
// each the same for the same seed.
func Fleet(berths, lines int, seed uint64, start time.Time) []*Load {
	out := make([]*Load, berths)
	for i := range out {
		out[i] = NewLoad(lines, seed+uint64(i), start)
	}
	return out
}

// NewLoad is one berth's load; its lines are called 1, 2, 3 and so on.
func NewLoad(lines int, seed uint64, start time.Time) *Load {
	l := &Load{rng: rand.New(rand.NewPCG(seed, 3)), next: start.UnixNano()}
	for i := range lines {
		l.lines = append(l.lines, loadLine{
			meanKN: 120 + 100*l.rng.Float64(),
			slow:   newTurning(300+600*l.rng.Float64(), 2*math.Pi*l.rng.Float64()),
			wave:   newTurning(loadWaveS, 2*math.Pi*l.rng.Float64()),
		})
		id := strconv.Itoa(i + 1)
		for _, c := range []struct {
			kind     reading.Kind
			decimals int8
			samples  int
		}{{reading.Tension, tensionDecimals, loadTensionHz}, {reading.Payout, 2, 1}, {reading.Brake, 0, 1}} {
			l.series = append(l.series, reading.Series{
				Channel:  reading.Channel{Line: id, Kind: c.kind},
				Decimals: c.decimals,
				Time:     make([]int64, c.samples),
				Value:    make([]float64, c.samples),
			})
		}
	}
	return l
}

// Next is the next second of readings, valid until the next call.
func (l *Load) Next() *reading.Block {
	const second = int64(time.Second)
	for i := range l.lines {
		line := &l.lines[i]
		tension, payout, brake := &l.series[3*i], &l.series[3*i+1], &l.series[3*i+2]
		for j := range tension.Time {
			tension.Time[j] = l.next + int64(j)*second/loadTensionHz
			kn := line.meanKN + loadSlowKN*line.slow.turn() + loadWaveKN*line.wave.turn() +
				loadNoiseKN*l.rng.NormFloat64()
			tension.Value[j] = math.Round(kn*10) / 10
		}
		line.slow.settle()
		line.wave.settle()
		if l.rng.IntN(loadMoveS) == 0 {
			line.payoutCM += float64(l.rng.IntN(2)*2 - 1)
		}
		payout.Time[0], payout.Value[0] = l.next+second/5, line.payoutCM/100
		brake.Time[0], brake.Value[0] = l.next+3*second/10, 1
	}
	l.next += second
	l.block.Sequence++
	l.block.CompleteUntil = l.next - 1
	l.block.Series = append(l.block.Series[:0], l.series...)
	return &l.block
}
