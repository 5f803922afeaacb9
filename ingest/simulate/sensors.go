package simulate

import (
	"math"
	"math/rand/v2"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// How often each channel is read, in ticks. Pay-out and brake are read a little
// after the whole second, as scanned controllers do.
const (
	secondEvery = int64(time.Second / tick)
	levelEvery  = 10 * secondEvery
	draftEvery  = 30 * secondEvery
	payoutAfter = 4
	apart       = 10 * secondEvery // between dropouts
	spikeEvery  = 8 * secondEvery
	brakeAfter  = 6
)

// Digits after the point of each channel.
const (
	tensionDecimals = 1
	payoutDecimals  = 3
	speedDecimals   = 1
	levelDecimals   = 2
)

// lineSensors are a line's channels, nil where it has none: an uninstrumented
// line sends nothing, one on bitts has no drum to read.
type lineSensors struct {
	tension, payout, brake *reading.Series

	pinFaults
	silentUntil  int64     // of all the line's channels
	zeroKN, gain float64   // standing errors
	past         []float64 // loads of the last ticks, for a clock that is fast
	lastKN       float64
	lastBrake    float64
}

// sensors reads the ship into series.
type sensors struct {
	plan    *mooring.Plan
	rng     *rand.Rand
	cfg     Sensors
	startNS int64

	lines                     []lineSensors
	speed, direction, level   *reading.Series
	draftFwd, draftAft, watch *reading.Series
	all                       []*reading.Series
	tensionTenths             float64    // the pins' quantum
	tensionEvery, payoutEvery int64      // ticks
	errors                    *rand.Rand // of what is drawn only where it is asked for
	standDownUntil            int64
	lastWatch                 float64
}

func newSensors(plan *mooring.Plan, story *Story, rng *rand.Rand) sensors {
	s := sensors{plan: plan, rng: rng, cfg: story.Sensors, startNS: story.Start.UnixNano(),
		lines:         make([]lineSensors, len(plan.Lines)),
		tensionTenths: math.Round(story.Sensors.TensionStepKN * 10),
		tensionEvery:  secondEvery / int64(story.Sensors.TensionHz),
		payoutEvery:   secondEvery / int64(story.Sensors.PayoutHz),
		errors:        rand.New(rand.NewPCG(story.Seed, 3)),
		lastWatch:     1}
	for i := range s.lines {
		l, at := &plan.Lines[i], &s.lines[i]
		at.lastBrake = 1
		at.zeroKN = s.cfg.ZeroShare * l.MBLkN * (2*s.errors.Float64() - 1)
		at.gain = 1 + s.cfg.Gain*(2*s.errors.Float64()-1)
		at.past = make([]float64, 1+int(s.cfg.ClockS*s.errors.Float64()/tickS))
		if !l.Instrumented {
			continue
		}
		at.tension = s.channel(l.ID, reading.Tension, tensionDecimals)
		if l.MadeFast == mooring.Winch && !s.cfg.NoPayout {
			at.payout = s.channel(l.ID, reading.Payout, payoutDecimals)
			at.brake = s.channel(l.ID, reading.Brake, 0)
		}
	}
	if !s.cfg.NoWind {
		s.speed = s.channel("", reading.WindSpeed, speedDecimals)
		s.direction = s.channel("", reading.WindDirection, 0)
	}
	if !s.cfg.NoLevel {
		s.level = s.channel("", reading.WaterLevel, levelDecimals)
		s.draftFwd = s.channel("", reading.DraftFwd, levelDecimals)
		s.draftAft = s.channel("", reading.DraftAft, levelDecimals)
	}
	if !s.cfg.NoWatch {
		s.watch = s.channel("", reading.UnderWatch, 0)
	}
	return s
}

func (s *sensors) channel(line string, kind reading.Kind, decimals int8) *reading.Series {
	c := &reading.Series{Channel: reading.Channel{Line: line, Kind: kind}, Decimals: decimals}
	s.all = append(s.all, c)
	return c
}

// start begins a fault or takes the berth off watch.
func (s *sensors) start(e Event, now, until int64) {
	if e.Kind == StandDown {
		s.standDownUntil = until
		return
	}
	l := &s.lines[s.plan.Line(e.Line)]
	l.pinFaults.start(e, now, until)
}

// reset empties the series, keeping their memory.
func (s *sensors) reset() {
	for _, c := range s.all {
		c.Time, c.Value, c.Quality = c.Time[:0], c.Value[:0], c.Quality[:0]
	}
}

// collect appends the series that hold readings.
func (s *sensors) collect(dst []reading.Series) []reading.Series {
	for _, c := range s.all {
		if c.Len() == 0 {
			continue
		}
		out := *c
		if len(c.Quality) == 0 {
			out.Quality = nil
		}
		dst = append(dst, out)
	}
	return dst
}

// put appends a good reading on the channel's grid.
func (s *sensors) put(c *reading.Series, now int64, value float64) {
	if c == nil {
		return
	}
	s.grade(c, reading.Good)
	c.Time = append(c.Time, s.stamp(now))
	c.Value = append(c.Value, onGrid(value, c.Decimals))
}

// grade notes a quality, the column existing only once one is not good.
func (s *sensors) grade(c *reading.Series, q reading.Quality) {
	if q == reading.Good && len(c.Quality) == 0 {
		return
	}
	for len(c.Quality) < c.Len() {
		c.Quality = append(c.Quality, reading.Good)
	}
	c.Quality = append(c.Quality, q)
}

// stamp is the time put on a reading of this tick.
func (s *sensors) stamp(now int64) int64 {
	at := s.startNS + now*int64(tick)
	if s.cfg.JitterMS > 0 {
		at += s.errors.Int64N(int64(s.cfg.JitterMS)+1) * int64(time.Millisecond)
	}
	return at
}

// onGrid is the nearest whole number of 10^-decimals, and never minus zero.
func onGrid(value float64, decimals int8) float64 {
	unit := [...]float64{1, 10, 100, 1000}[decimals]
	return math.Round(value*unit)/unit + 0
}

// read reads what is due at this tick.
func (s *sensors) read(now int64, w *weather, d *deck) {
	for i := range s.lines {
		s.readLine(now, &s.lines[i], d, i)
	}
	if now%secondEvery == 0 {
		s.put(s.speed, now, max(0, w.speedMS+0.1*s.rng.NormFloat64()))
		s.put(s.direction, now, math.Mod(math.Round(w.fromDeg+720), 360))
	}
	if now%levelEvery == 0 {
		s.put(s.level, now, w.levelM)
	}
	if now%draftEvery == 0 {
		s.put(s.draftFwd, now, w.draftFwdM)
		s.put(s.draftAft, now, w.draftAftM)
	}
	watch := 1.0
	if now < s.standDownUntil {
		watch = 0
	}
	if now%levelEvery == 0 || watch != s.lastWatch {
		s.put(s.watch, now, watch)
		s.lastWatch = watch
	}
}

func (s *sensors) readLine(now int64, l *lineSensors, d *deck, i int) {
	if s.cfg.DropoutsPerHour > 0 && s.errors.Float64() < s.cfg.DropoutsPerHour*tickS/3600 && now > l.silentUntil+apart {
		l.silentUntil = now + secondEvery + s.errors.Int64N(5*secondEvery)
	}
	load := d.tensionKN[i]
	if n := int64(len(l.past)); n > 1 {
		l.past[now%n] = load
		load = l.past[(now+1)%n] // the oldest
		if now < n {
			load = l.past[0]
		}
	}
	if l.tension != nil && now%s.tensionEvery == 0 {
		s.readPin(now, l, load)
	}
	if l.payout == nil || now < l.silentUntil {
		return
	}
	if now%s.payoutEvery == payoutAfter%s.payoutEvery {
		s.put(l.payout, now, d.payoutM(i)+s.cfg.PayoutNoiseM*s.rng.NormFloat64())
	}
	brake := 1.0
	if d.lines[i].tending {
		brake = 0
	}
	if now%secondEvery == brakeAfter || brake != l.lastBrake {
		s.put(l.brake, now, brake)
		l.lastBrake = brake
	}
}

// readPin reads a load pin. Noise is drawn whether or not the reading is sent,
// so that a fault on one line leaves the others' readings as they were.
func (s *sensors) readPin(now int64, l *lineSensors, loadKN float64) {
	if now < l.deadUntil {
		loadKN = (l.deadKN - l.zeroKN) / l.gain
	}
	tenths := (loadKN*l.gain + l.zeroKN + l.shiftKN(now) + s.cfg.TensionNoiseKN*s.rng.NormFloat64()) * 10
	value := math.Round(tenths/s.tensionTenths) * s.tensionTenths / 10
	switch {
	case now < l.gapUntil, now < l.silentUntil:
		return
	case now < l.nanUntil:
		s.grade(l.tension, reading.Bad)
		l.tension.Time = append(l.tension.Time, s.stamp(now))
		l.tension.Value = append(l.tension.Value, 0)
		return
	case now < l.stuckUntil:
		value = l.lastKN
	case now < l.flickerUntil:
		value = l.lastKN + s.tensionTenths/10*float64(now/s.tensionEvery/3%2)
		s.put(l.tension, now, value)
		return
	case now < l.rangeUntil:
		value = l.rangeKN
	case l.spikes(now, s.errors):
		s.put(l.tension, now, value+l.spikeKN)
		return
	}
	l.lastKN = value
	s.put(l.tension, now, value)
}
