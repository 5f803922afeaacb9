package archive

import (
	"math"
	"math/rand/v2"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// blockSpan is the span of a block; berthEvery is how often the berth's slow
// channels are read.
const (
	blockSpan  = time.Minute
	berthEvery = 30 * time.Second
	watchEvery = 10 * time.Second
)

// reader reads a ship into blocks.
type reader struct {
	stay  *Stay
	ship  *ship
	rng   *rand.Rand
	lines []lineChannels
	berth [6]*reading.Series // wind, direction, level, drafts, watch
	all   []*reading.Series
	block reading.Block
	phase []float64 // of each line's slow swing
	watch float64
}

type lineChannels struct {
	tension, payout, brake *reading.Series
	lastKN, lastBrake      float64
}

// Blocks gives the stay's readings block by block, each of a minute, until its end
// or an error of fn. A block is valid until fn returns.
func (s *Stay) Blocks(fn func(*reading.Block) error) error {
	h, err := newShip(s)
	if err != nil {
		return err
	}
	r := &reader{stay: s, ship: h, rng: rand.New(rand.NewPCG(s.seed, 23)), watch: -1}
	r.open()
	interval := s.options.Interval
	for at := s.Arrival; at.Before(s.Departure); {
		for _, c := range r.all { // not Reset, which takes the channel too
			c.Time, c.Value, c.Quality = c.Time[:0], c.Value[:0], nil
		}
		end := at.Add(blockSpan)
		for ; at.Before(end); at = at.Add(interval) {
			if at.Sub(s.Arrival)%look == 0 {
				if err := h.step(); err != nil {
					return err
				}
				h.brakes()
			}
			if !r.silent(at) {
				r.read(at)
			}
		}
		r.block.Series = r.block.Series[:0]
		for _, c := range r.all {
			if c.Len() > 0 {
				r.block.Series = append(r.block.Series, *c)
			}
		}
		if len(r.block.Series) == 0 {
			continue
		}
		r.block.Sequence++
		r.block.CompleteUntil = at.UnixNano() - 1
		if err := fn(&r.block); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) open() {
	channel := func(line string, k reading.Kind, decimals int8) *reading.Series {
		c := &reading.Series{Channel: reading.Channel{Line: line, Kind: k}, Decimals: decimals}
		r.all = append(r.all, c)
		return c
	}
	r.lines = make([]lineChannels, len(r.stay.Plan.Lines))
	for i := range r.lines {
		l := &r.stay.Plan.Lines[i]
		r.phase = append(r.phase, 2*math.Pi*r.rng.Float64())
		r.lines[i].lastBrake = -1
		if !l.Instrumented {
			continue
		}
		r.lines[i].tension = channel(l.ID, reading.Tension, 1)
		if l.MadeFast == mooring.Winch {
			r.lines[i].payout = channel(l.ID, reading.Payout, 3)
			r.lines[i].brake = channel(l.ID, reading.Brake, 0)
		}
	}
	for k, c := range []struct {
		kind     reading.Kind
		decimals int8
	}{{reading.WindSpeed, 1}, {reading.WindDirection, 0}, {reading.WaterLevel, 2}, {reading.DraftFwd, 2}, {reading.DraftAft, 2}, {reading.UnderWatch, 0}} {
		r.berth[k] = channel("", c.kind, c.decimals)
	}
}

// silent reports whether nothing comes from the berth at a time.
func (r *reader) silent(at time.Time) bool {
	for _, h := range r.stay.happenings {
		if h.kind == noData && !at.Before(h.at) && at.Before(h.at.Add(h.last)) {
			return true
		}
	}
	return false
}

func put(c *reading.Series, at time.Time, v float64) {
	unit := [...]float64{1, 10, 100, 1000}[c.Decimals]
	if c.Quality != nil {
		c.Quality = append(c.Quality, reading.Good)
	}
	c.Time, c.Value = append(c.Time, at.UnixNano()), append(c.Value, math.Round(v*unit)/unit+0)
}

// bad appends something that is no number.
func bad(c *reading.Series, at time.Time) {
	for len(c.Quality) < c.Len() {
		c.Quality = append(c.Quality, reading.Good)
	}
	c.Quality = append(c.Quality, reading.Bad)
	c.Time, c.Value = append(c.Time, at.UnixNano()), append(c.Value, 0)
}

// read reads all channels that are due.
func (r *reader) read(at time.Time) {
	since := at.Sub(r.stay.Arrival)
	x := float64(since%look) / float64(look)
	a, b := &r.ship.before, &r.ship.state
	for i := range r.lines {
		r.line(i, at, x)
	}
	put(r.berth[0], at, max(0, a.speedMS+x*(b.speedMS-a.speedMS)+0.2*r.rng.NormFloat64()))
	if since%watchEvery == 0 {
		put(r.berth[1], at, math.Mod(math.Round(b.fromDeg), 360))
	}
	if since%berthEvery == 0 {
		put(r.berth[2], at, b.levelM)
		put(r.berth[3], at, b.draftFwdM)
		put(r.berth[4], at, b.draftAftM)
	}
	watch := 0.0
	if !at.Before(r.stay.MadeFast) && at.Before(r.stay.LetGo) {
		watch = 1
	}
	if since%watchEvery == 0 || watch != r.watch {
		put(r.berth[5], at, watch)
		r.watch = watch
	}
}

// line reads line i, a share x of the way from the look before to this one.
func (r *reader) line(i int, at time.Time, x float64) {
	c := &r.lines[i]
	if c.tension == nil {
		return
	}
	a, b := &r.ship.before, &r.ship.state
	l := &r.stay.Plan.Lines[i]
	load := a.tensionKN[i] + x*(b.tensionKN[i]-a.tensionKN[i])
	// The slow swing of a ship on her lines, more in more wind, and the pin's noise.
	s := at.Sub(r.stay.Arrival).Seconds()
	swing := math.Sin(2*math.Pi*s/83+r.phase[i]) + 0.6*math.Sin(2*math.Pi*s/51+2*r.phase[i])
	load = max(0, load*(1+0.02*min(1, b.speedMS/20)*swing))
	r.pin(i, c, at, load+0.0012*l.MBLkN*r.rng.NormFloat64())
	if c.payout == nil {
		return
	}
	if at.Sub(r.stay.Arrival)%watchEvery == 0 || b.payoutM[i] != a.payoutM[i] {
		put(c.payout, at, a.payoutM[i]+x*(b.payoutM[i]-a.payoutM[i]))
	}
	if brake := b.brake[i]; at.Sub(r.stay.Arrival)%watchEvery == 0 || brake != c.lastBrake {
		put(c.brake, at, brake)
		c.lastBrake = brake
	}
}

// pin reads a load pin with what is wrong with it.
func (r *reader) pin(i int, c *lineChannels, at time.Time, load float64) {
	mbl := r.stay.Plan.Lines[i].MBLkN
	for _, h := range r.stay.happenings {
		if h.kind < pinDead || h.line != i || at.Before(h.at) {
			continue
		}
		x := at.Sub(h.at).Seconds() / h.last.Seconds()
		switch {
		case h.kind == pinDrifts:
			load += h.size * mbl * min(x, 1)
		case h.kind == pinDead && x < 1:
			load = 0.0012 * mbl * r.rng.NormFloat64()
		case h.kind == pinStuck && x < 1:
			load = c.lastKN
		case h.kind == pinDies && x >= 1:
			return
		case h.kind == pinDies:
			if r.rng.Float64() < x {
				bad(c.tension, at)
				return
			}
			load += 0.03 * x * mbl * r.rng.NormFloat64()
		}
	}
	c.lastKN = load
	put(c.tension, at, load)
}
