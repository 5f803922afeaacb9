package archive

import (
	"math"
	"math/rand/v2"
	"time"
)

// system is a low that passes: its wind rises, veers and dies over hours.
type system struct {
	at      float64 // hours since the start
	hours   float64 // half its width
	peakMS  float64
	fromDeg float64 // at its peak
}

const (
	calmMS    = 4.5
	calmFrom  = 215.0
	veerDeg   = 70.0 // from before a low to behind it
	galeMS    = 21.5
	galeShare = 0.62 // of the archive, when the gale is at its worst
	sailMS    = 14.0 // mean wind over which nobody comes, goes or works a loaded line
)

// weather is the wind of the port.
type weather struct {
	systems []system
	galeAt  float64 // hours since the start
}

func newWeather(o *Options) weather {
	rng := rand.New(rand.NewPCG(o.Seed, 11))
	hours := 24 * float64(o.Days)
	w := weather{galeAt: galeShare * hours}
	for at := 14 + 20*rng.Float64(); at < hours; at += 50 + 50*rng.Float64() {
		if math.Abs(at-w.galeAt) < 30 {
			continue
		}
		w.systems = append(w.systems, system{at: at, hours: 5 + 8*rng.Float64(), peakMS: 5 + 7*rng.Float64(), fromDeg: 190 + 130*rng.Float64()})
	}
	w.systems = append(w.systems, system{at: w.galeAt, hours: 6, peakMS: galeMS - calmMS, fromDeg: 300})
	return w
}

// mean is the mean wind, m/s and degrees true, at a time in hours since the start.
func (w *weather) mean(hours float64) (speedMS, fromDeg float64) {
	speedMS = calmMS + 1.5*math.Sin(2*math.Pi*(hours-9)/24) // a sea breeze
	east, north := speedMS*math.Sin(calmFrom*degree), speedMS*math.Cos(calmFrom*degree)
	for _, s := range w.systems {
		x := (hours - s.at) / s.hours
		if math.Abs(x) > 4 {
			continue
		}
		v := s.peakMS * math.Exp(-x*x/2)
		speedMS += v
		from := (s.fromDeg + veerDeg/2*math.Tanh(x)) * degree
		east += 2 * v * math.Sin(from)
		north += 2 * v * math.Cos(from)
	}
	return max(0.5, speedMS), math.Mod(math.Atan2(east, north)/degree+360, 360)
}

const degree = math.Pi / 180

// gusts are the fluctuations about the mean, of first order and two memories: the
// squalls of minutes and the gusts of half a minute that a ship follows.
type gusts struct {
	rng          *rand.Rand
	squall, gust float64
	veer         float64
}

func (g *gusts) step(dt time.Duration) {
	next := func(x *float64, memoryS float64) {
		keep := math.Exp(-dt.Seconds() / memoryS)
		*x = keep**x + math.Sqrt(1-keep*keep)*g.rng.NormFloat64()
	}
	next(&g.squall, 400)
	next(&g.gust, 30)
	next(&g.veer, 300)
}

// on is the wind with the fluctuations on a mean.
func (g *gusts) on(speedMS, fromDeg float64) (float64, float64) {
	return max(0, speedMS*(1+0.07*g.squall+0.08*g.gust)), math.Mod(fromDeg+5*g.veer+720, 360)
}
