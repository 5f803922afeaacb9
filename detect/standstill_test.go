package detect_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hawser/detect"
	"hawser/detect/reading"
)

// A swell dies away on a ship whose pins have coarse digits and no noise, with the water
// standing: the pins come to a stand for good, and none is at fault. At the first two
// seeds half of them do so within the same wave.
func TestACalmIsNoStandstill(t *testing.T) {
	for _, seed := range []uint64{51, 352, 1, 2, 3, 4} {
		rng := rand.New(rand.NewPCG(seed, 1))
		lines, hz := 3+rng.IntN(14), []int{1, 2, 5, 10}[rng.IntN(4)]
		step := []float64{0.1, 0.5, 1, 5}[rng.IntN(4)]
		halves := 60 * (1 + 9*rng.Float64()) // s in which the swell loses half of its height
		calm := newCalm(rng, lines, step, step*(0.5+4*rng.Float64()), halves)
		if got := calm.watch(t, 5400, hz); got != 0 {
			t.Errorf("seed %d: %d lines at %d Hz, steps of %g kN, half in %.0f s: %d pins told", seed, lines, hz, step, halves, got)
		}
	}
}

// Pins that stop together are told together: none by what the others read just before.
func TestAStandstillIsOfAllPins(t *testing.T) {
	s, err := parseScript("testdata/pins-all-stuck-moving.txt")
	if err != nil {
		t.Fatal(err)
	}
	changes, _ := replay(s.facts(t))
	for _, c := range changes {
		if c.By != detect.AllStill {
			t.Errorf("told by %q: %s", c.By, c.Detail)
		}
	}
	if len(changes) != 12 {
		t.Errorf("%d told, want all 12:\n%s", len(changes), text(changes))
	}
}

// calm is loads in a swell that dies away: waves of random height, felt by every line.
type calm struct {
	base, share       []float64 // kN; of the swell
	step, swell, half float64   // kN, kN, s
	waves             [12]struct{ hz, phase float64 }
}

func newCalm(rng *rand.Rand, lines int, step, swell, half float64) *calm {
	c := &calm{step: step, swell: swell, half: half}
	for range lines {
		c.base, c.share = append(c.base, 60+20*rng.Float64()), append(c.share, 2*rng.Float64()-1)
	}
	for k := range c.waves {
		c.waves[k].hz, c.waves[k].phase = 0.07+0.06*rng.Float64(), 2*math.Pi*rng.Float64()
	}
	return c
}

// swellAt is the swell's load on a line that takes all of it, kN.
func (c *calm) swellAt(s float64) float64 {
	sum := 0.0
	for _, w := range c.waves {
		sum += math.Sin(2*math.Pi*w.hz*s + w.phase)
	}
	return c.swell * math.Exp2(-s/c.half) * sum / math.Sqrt(float64(len(c.waves))/2)
}

// read is what line i's pin reads of it.
func (c *calm) read(i int, swell float64) float64 {
	return math.Round((c.base[i]+c.share[i]*swell)/c.step) * c.step
}

// watch is how many pins are told to stand still with all others in some seconds.
func (c *calm) watch(t *testing.T, seconds, hz int) (told int) {
	t.Helper()
	b := detect.New(ship(len(c.base)))
	for s := range seconds {
		var swell []float64
		var times []int64
		for k := range hz {
			swell = append(swell, c.swellAt(float64(s)+float64(k)/float64(hz)))
			times = append(times, start+int64(s)*second+int64(k)*second/int64(hz))
		}
		for i := range c.base {
			r := reading.Series{Channel: tension(fmt.Sprint(i + 1)), Time: times}
			for _, kN := range swell {
				r.Value = append(r.Value, c.read(i, kN))
			}
			b.Push("test", &r)
		}
		for _, ch := range b.Advance("test", start+int64(s+1)*second-1, nil) {
			if ch.Raised && ch.By == detect.AllStill {
				told++
			}
		}
	}
	return told
}
