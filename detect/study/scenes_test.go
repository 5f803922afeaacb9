package study_test

import (
	"math"
	"math/rand/v2"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/simulate"
)

// scene is a case: what the detectors are told, what the ship is, and what
// happens.
type scene struct {
	kind  string
	of    []string // kinds that it is made of
	seed  uint64
	plan  *mooring.Plan
	ship  *mooring.Plan
	story simulate.Story
	rng   *rand.Rand
}

// kind is a kind of scene: what is asked of the plan, what happens.
type kind struct {
	name    string
	minutes float64
	share   [2]float64 // of MBL, of the hardest loaded line in the mean wind
	happens func(*scene)
}

// kinds of scene in which something happens, and quiet ones.
func kinds() []kind {
	low, fair, high := [2]float64{0.12, 0.2}, [2]float64{0.16, 0.28}, [2]float64{0.24, 0.34}
	return []kind{
		{"over limit in a squall", 18, fair, (*scene).overTheLimit},
		{"a long ramp", 125, low, (*scene).longRamp},
		{"brake renders", 18, fair, (*scene).brakeRenders},
		{"creep on the drum", 16, fair, (*scene).drumCreeps},
		{"jerks on the drum", 16, high, (*scene).drumJerks},
		{"steps on bitts", 16, fair, (*scene).bittsSteps},
		{"creep on bitts", 16, fair, (*scene).bittsCreep},
		{"parting, calm", 15, low, (*scene).parts},
		{"parting", 15, high, (*scene).parts},
		{"parting in a swell", 15, fair, func(c *scene) { c.swell(0.03); c.parts() }},
		{"two partings", 15, high, func(c *scene) { c.parts(); c.parts() }},
		{"unseen parting", 15, high, (*scene).partsUnseen},
		{"unseen parting, fair", 15, fair, (*scene).partsUnseen},
		{"unseen parting in a squall", 15, low, (*scene).partsUnseenInASquall},
		{"bollard gives", 15, high, (*scene).bollardGives},
		{"over-tight", 16, fair, (*scene).overTight},
		{"left slack", 16, fair, (*scene).leftSlack},
		{"snatching", 15, low, (*scene).snatches},
		{"gap", 14, fair, (*scene).gap},
		{"not a number", 14, fair, (*scene).notANumber},
		{"stuck", 16, fair, func(c *scene) { c.swell(0.02); c.stuck(simulate.Stuck) }},
		{"stuck in gusts", 18, high, func(c *scene) { c.stuck(simulate.Stuck) }},
		{"flicker", 16, fair, func(c *scene) { c.swell(0.02); c.stuck(simulate.Flicker) }},
		{"out of range", 14, fair, (*scene).outOfRange},
		{"spikes", 14, fair, (*scene).spikes},
		{"dead pin", 14, high, (*scene).deadPin},
		{"dead pin in a swell", 14, fair, func(c *scene) { c.swell(0.03); c.deadPin() }},
		{"zero jump", 30, fair, (*scene).zeroJump},
		{"zero drift", 55, fair, (*scene).zeroDrift},
	}
}

func quietKinds() []kind {
	low, fair, gale := [2]float64{0.08, 0.16}, [2]float64{0.16, 0.26}, [2]float64{0.2, 0.26}
	return []kind{
		{"calm", 40, low, func(*scene) {}},
		{"spring tide", 60, low, func(c *scene) { c.story.Weather.TideM = between(c.rng, 4, 7) }},
		{"cargo", 60, low, (*scene).worksCargo},
		{"gale", 40, gale, func(c *scene) { c.story.Weather.Turbulence = between(c.rng, 0.1, 0.16) }},
		{"squalls", 40, low, (*scene).squalls},
		{"squalls off the fenders", 40, low, (*scene).liftsOff},
		{"swell", 40, fair, func(c *scene) { c.swell(between(c.rng, 0.02, 0.05)) }},
		{"passing ships", 40, fair, (*scene).passing},
		{"tending", 40, fair, (*scene).tending},
		{"departure", 25, low, (*scene).departs},
		{"arrival", 30, low, (*scene).arrives},
		{"departure, watch not told", 25, low, func(c *scene) { c.departs(); c.untold() }},
		{"arrival, watch not told", 30, [2]float64{0.04, 0.08}, func(c *scene) { c.madeFastWithin(c.at(5.5, 6)); c.untold() }},
	}
}

// stillKinds are the quiet kinds of a long run: weather that goes on for days.
func stillKinds() []kind {
	out := []kind{{"long swell", 40, [2]float64{0.16, 0.26}, func(c *scene) {
		c.swell(between(c.rng, 0.02, 0.05))
		c.story.Weather.SwellS = between(c.rng, 50, 120)
	}}}
	for _, k := range quietKinds() {
		switch k.name {
		case "calm", "spring tide", "cargo", "gale", "swell", "passing ships":
			out = append(out, k)
		}
	}
	return out
}

var begin = time.Date(2026, 4, 6, 5, 4, 3, 0, time.UTC)

// draw makes scene n of a kind; ok is false where the lot gave a ship to which
// it cannot happen.
func draw(k kind, seed uint64) (c *scene, ok bool) {
	rng := rand.New(rand.NewPCG(seed, 77))
	c = &scene{kind: k.name, seed: seed, rng: rng, plan: drawPlan(rng)}
	c.sensors()
	c.uninstrument()
	c.ship = c.plan
	if chance(rng, 0.7) {
		c.ship = astray(rng, c.plan)
		if make := rand.New(rand.NewPCG(seed, 78)); chance(make, 0.5) {
			c.ship = otherwise(make, c.plan, c.ship)
		}
	}
	c.story.Seed, c.story.Start, c.story.Ends = seed, begin, true
	c.story.Length = time.Duration(k.minutes * float64(time.Minute))
	if !c.weather(between(rng, k.share[0], k.share[1])) {
		return nil, false
	}
	k.happens(c)
	if c.story.Events == nil && c.story.Length < 0 {
		return nil, false
	}
	return c, true
}

// impossible marks a scene that cannot happen to this ship.
func (c *scene) impossible() { c.story.Events, c.story.Length = nil, -1 }

func (c *scene) sensors() {
	rng, s := c.rng, &c.story.Sensors
	s.TensionStepKN = []float64{0.1, 0.5, 1}[rng.IntN(3)]
	s.TensionNoiseKN = between(rng, 0.001, 0.004) * c.plan.Lines[0].MBLkN
	s.PayoutNoiseM = between(rng, 0.0005, 0.003)
	s.TensionHz = []int{1, 2, 2, 4, 5, 5, 10, 10, 20}[rng.IntN(9)]
	s.PayoutHz = []int{1, 1, 2, 5}[rng.IntN(4)]
	if chance(rng, 0.5) {
		s.ZeroShare, s.Gain = 0.004, 0.01
	}
	if chance(rng, 0.5) {
		s.JitterMS = rng.IntN(49)
	}
	if chance(rng, 0.3) {
		s.ClockS = 0.3
	}
	if chance(rng, 0.4) {
		s.DropoutsPerHour = between(rng, 1, 12)
	}
	s.NoPayout, s.NoWind = chance(rng, 0.15), chance(rng, 0.2)
	s.NoLevel, s.NoWatch = chance(rng, 0.25), chance(rng, 0.25)
}

// uninstrument takes the pins off some lines of one ship in three.
func (c *scene) uninstrument() {
	if !chance(c.rng, 0.33) {
		return
	}
	for range 1 + c.rng.IntN(max(1, len(c.plan.Lines)/6)) {
		c.plan.Lines[c.rng.IntN(len(c.plan.Lines))].Instrumented = false
	}
}

// weather blows so that the hardest loaded line carries a share; ok is false
// where no wind to 35 m/s brings it there and a calm is over it.
func (c *scene) weather(share float64) (ok bool) {
	rng, w := c.rng, &c.story.Weather
	off := between(rng, 20, 160) // off the quay, more or less
	if c.plan.Side == mooring.Port {
		off = -off
	}
	w.WindFromDeg = math.Mod(c.plan.HeadingDeg+off+360, 360)
	w.Turbulence = between(rng, 0.03, 0.1)
	w.WaveM, w.WavePeriodS = between(rng, 0.05, 0.3), between(rng, 3, 6)
	w.TideM, w.TideHours = between(rng, 0.2, 2), between(rng, 0, 12)
	rig := mooring.NewRig(c.ship)
	lengths := rig.Pretensioned()
	lo, hi := 1.0, 33.0
	for range 20 {
		speed := (lo + hi) / 2
		rest, err := rig.Equilibrium(c.ship.WindForce(speed, w.WindFromDeg), lengths, mooring.Pose{})
		if err != nil || c.hardest(rest.TensionKN) > share {
			hi = speed
		} else {
			lo = speed
		}
	}
	w.WindMS = lo
	return lo > 1.1
}

func (c *scene) hardest(loads []float64) (most float64) {
	for i, v := range loads {
		most = max(most, v/c.plan.Lines[i].MBLkN)
	}
	return most
}

// stiffest is the greatest load that a metre of the ship's way puts on a line,
// of MBL.
func (c *scene) stiffest() (most float64) {
	rig := mooring.NewRig(c.ship)
	for i, u := range rig.Pretensioned() {
		l := &c.plan.Lines[i]
		most = max(most, rig.Law(i).StiffnessKNPerM(2*l.PretensionKN, u)/l.MBLkN)
	}
	return most
}

// swell works the ship so that the stiffest line's load has about this standard
// deviation, of MBL.
func (c *scene) swell(share float64) {
	w := &c.story.Weather
	w.SwellS = between(c.rng, 9, 18)
	if chance(c.rng, 0.3) {
		w.SwellS = between(c.rng, 50, 120)
	}
	span := min(1, 1.56*w.SwellS*w.SwellS/c.plan.Ship.LoaM)
	w.SwellM = min(9, 4*share/(0.3*span*c.stiffest()))
}

// at is a time between two minutes.
func (c *scene) at(lo, hi float64) time.Duration {
	return time.Duration(between(c.rng, lo, hi) * minute * float64(time.Second)).Round(50 * time.Millisecond)
}

func (c *scene) add(e simulate.Event) { c.story.Events = append(c.story.Events, e) }

// line draws a line that fits, -1 where none does.
func (c *scene) line(fits func(i int) bool) int {
	var able []int
	for i := range c.plan.Lines {
		if fits(i) {
			able = append(able, i)
		}
	}
	if len(able) == 0 {
		return -1
	}
	return able[c.rng.IntN(len(able))]
}

func (c *scene) pinned(i int) bool { return c.plan.Lines[i].Instrumented }

func (c *scene) onDrum(i int) bool { return c.plan.Lines[i].MadeFast == mooring.Winch }

// withMate reports whether another pinned line is in line i's group.
func (c *scene) withMate(i int) bool {
	for k := range c.plan.Lines {
		if k != i && c.pinned(k) && c.pinned(i) && c.plan.Lines[k].Group == c.plan.Lines[i].Group {
			return true
		}
	}
	return false
}

// rest is the loads at rest in the mean wind.
func (c *scene) rest() []float64 {
	rig := mooring.NewRig(c.ship)
	at, err := rig.Equilibrium(c.ship.WindForce(c.story.Weather.WindMS, c.story.Weather.WindFromDeg), rig.Pretensioned(), mooring.Pose{})
	if err != nil {
		return make([]float64, len(c.ship.Lines))
	}
	return at.TensionKN
}

// sharing draws a pinned line that carries between two shares at rest.
func (c *scene) sharing(lo, hi float64, fits func(i int) bool) int {
	rest := c.rest()
	return c.line(func(i int) bool {
		s := rest[i] / c.plan.Lines[i].MBLkN
		return s >= lo && s <= hi && c.pinned(i) && fits(i)
	})
}

func anyLine(int) bool { return true }
