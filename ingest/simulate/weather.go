package simulate

import (
	"math"
	"math/rand/v2"

	"hawser/detect/mooring"
)

const tickS = float64(tick) / 1e9

// Memory of the wind's fluctuations, seconds. With them and the standard
// deviation s the one-sided spectrum of the speed is first-order,
//
//	S(f) = 4 s² m / (1 + (2 pi f m)²)
//
// flat up to 1/(2 pi m) Hz and falling with f² above: the range that moves a
// moored ship is right in kind, the fine gusts she does not feel are missing.
const (
	speedMemoryS     = 12
	directionMemoryS = 40
	veerDeg          = 4 // standard deviation of the direction
)

// gust is a passing gust, in ticks.
type gust struct {
	from, until int64
	peak        float64
}

// share of the peak, 0 to 1, smooth over the first and last quarter.
func (g *gust) share(now int64) float64 {
	x := float64(now-g.from) / float64(g.until-g.from)
	edge := min(x, 1-x) * 4
	if edge >= 1 {
		return 1
	}
	edge = max(0, edge)
	return edge * edge * (3 - 2*edge)
}

// swing is one sine of a motion.
type swing struct{ amplitude, perTick, phase float64 }

// swings is a sea's motion of one degree of freedom.
type swings []swing

func (s swings) at(now int64) (sum float64) {
	for i := range s {
		sum += s[i].amplitude * math.Sin(s[i].perTick*float64(now)+s[i].phase)
	}
	return sum
}

// weather is wind, waves and tide at one tick.
type weather struct {
	plan *mooring.Plan
	mean Weather
	rng  *rand.Rand

	gusts       []gust
	passes      []gust
	swell       *weather // the second sea, for a height of 1 m
	swells      []gust
	fluctuation [2]float64 // speed and direction, standard deviations

	speedMS float64 // at the mast
	fromDeg float64
	feltMS  float64 // over the whole ship
	levelM  float64

	cargo                Cargo
	draftFwdM, draftAftM float64
	wave                 mooring.Pose  // laid over the ship's slow motion
	pull                 mooring.Force // of ships that pass

	surge, sway, yaw, heave swings
}

func newWeather(plan *mooring.Plan, story *Story, rng *rand.Rand) weather {
	w := weather{plan: plan, mean: story.Weather, rng: rng, levelM: plan.Reference.WaterLevelM, cargo: story.Cargo,
		draftFwdM: plan.Reference.DraftFwdM, draftAftM: plan.Reference.DraftAftM}
	w.speedMS, w.feltMS, w.fromDeg = w.mean.WindMS, w.mean.WindMS, w.mean.WindFromDeg
	w.fluctuation = [2]float64{}
	w.makeWaves()
	// A swell of a metre, of its own lot so that the waves stay as they are.
	w.swell = &weather{plan: plan, rng: rand.New(rand.NewPCG(story.Seed, 4)), mean: Weather{WaveM: 1, WavePeriodS: max(w.mean.SwellS, 1)}}
	w.swell.makeWaves()
	return w
}

// makeWaves draws the first-order motions. The share of the wave height that
// reaches each degree of freedom is common practice, no source; waves shorter
// than the ship move her less in proportion.
func (w *weather) makeWaves() {
	const parts = 8
	length := max(w.plan.Ship.LoaM, 1)
	sea := func(share float64) swings {
		out := make(swings, parts)
		var energy float64
		for i := range out {
			// From 0.7 to 1.4 of the peak frequency, unevenly so that the sea does
			// not repeat.
			x := 0.7 + 0.7*(float64(i)+w.rng.Float64())/parts
			height := math.Exp(-math.Pow((x-1)/0.18, 2) / 2)
			energy += height * height / 2
			out[i] = swing{height, 2 * math.Pi * x / w.mean.WavePeriodS * tickS, 2 * math.Pi * w.rng.Float64()}
		}
		// The standard deviation of the surface is a quarter of the significant
		// height; the wave's length in deep water is 1.56 T².
		span := min(1, 1.56*w.mean.WavePeriodS*w.mean.WavePeriodS/length)
		scale := share * span * w.mean.WaveM / 4 / math.Sqrt(energy)
		for i := range out {
			out[i].amplitude *= scale
		}
		return out
	}
	w.surge, w.sway, w.heave, w.yaw = sea(0.2), sea(0.3), sea(0.4), sea(0.4/length)
}

// swellM is the swell's height.
func (w *weather) swellM(now int64) float64 {
	height := w.mean.SwellM
	left := w.swells[:0]
	for _, s := range w.swells {
		if now < s.until {
			height += s.peak * s.share(now)
			left = append(left, s)
		}
	}
	w.swells = left
	return height
}

// step draws the weather at a tick.
func (w *weather) step(now int64) {
	for i, memory := range [...]float64{speedMemoryS, directionMemoryS} {
		keep := math.Exp(-tickS / memory)
		w.fluctuation[i] = keep*w.fluctuation[i] + math.Sqrt(1-keep*keep)*w.rng.NormFloat64()
	}
	steady := w.mean.WindMS
	passing := w.gusts[:0]
	for _, g := range w.gusts {
		if now < g.until {
			steady += g.peak * g.share(now)
			passing = append(passing, g)
		}
	}
	w.gusts = passing
	w.speedMS = max(0, steady*(1+w.mean.Turbulence*w.fluctuation[0]))
	turn := 0.0
	if w.mean.Turbulence > 0 {
		turn = veerDeg * w.fluctuation[1]
	}
	w.fromDeg = w.mean.WindFromDeg + turn
	// A gust smaller than the ship does not act on all of her: the wind is felt
	// as it passes along a third of her length.
	lag := max(w.plan.Ship.LoaM/3/max(w.speedMS, 3), tickS)
	w.feltMS += (w.speedMS - w.feltMS) * min(1, tickS/lag)

	hours := float64(now) * tickS / 3600
	w.draftFwdM = w.plan.Reference.DraftFwdM + hours*w.cargo.FwdMH
	w.draftAftM = w.plan.Reference.DraftAftM + hours*w.cargo.AftMH
	seconds := 3600 * (hours + w.mean.TideHours)
	const m2 = 12.420601 * 3600 // period of the main lunar tide, s
	w.levelM = w.plan.Reference.WaterLevelM + w.mean.TideM/2*math.Sin(2*math.Pi*seconds/m2)
	heave := w.heave.at(now)
	w.wave = mooring.Pose{SurgeM: w.surge.at(now), SwayM: w.sway.at(now), YawRad: w.yaw.at(now),
		RiseFwdM: heave, RiseAftM: heave}
	if height := w.swellM(now); height > 0 {
		s := w.swell
		heave = height * s.heave.at(now)
		w.wave.SurgeM += height * s.surge.at(now)
		w.wave.SwayM += height * s.sway.at(now)
		w.wave.YawRad += height * s.yaw.at(now)
		w.wave.RiseFwdM += heave
		w.wave.RiseAftM += heave
	}
	w.pull = w.passing(now)
}
