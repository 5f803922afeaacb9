package study_test

import (
	"math"
	"slices"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/simulate"
)

const (
	seconds       = float64(time.Second)
	strongestWind = 45.0 // m/s; in more no ship stays alongside
)

// gustFor is the speed to add so that the hardest loaded line comes to a share
// at rest; no harder than strongestWind in all.
func (c *scene) gustFor(share float64) float64 {
	rig := mooring.NewRig(c.ship)
	lengths := rig.Pretensioned()
	lo, hi := 0.0, min(30, strongestWind-c.story.Weather.WindMS)
	for range 16 {
		mid := (lo + hi) / 2
		at, err := rig.Equilibrium(c.ship.WindForce(c.story.Weather.WindMS+mid, c.story.Weather.WindFromDeg), lengths, mooring.Pose{})
		if err != nil || c.hardest(at.TensionKN) > share {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo
}

func (c *scene) squall(share float64, at, lasts time.Duration) {
	c.add(simulate.Event{At: at, Kind: simulate.Gust, For: lasts, Value: c.gustFor(share)})
}

func (c *scene) overTheLimit() { c.squall(between(c.rng, 0.56, 0.68), c.at(5, 8), c.at(3, 6)) }

// longRamp lifts the ship at the quay as she empties, until her hardest loaded
// line is over its limit at 115 minutes.
func (c *scene) longRamp() {
	rig := mooring.NewRig(c.ship)
	lengths := rig.Pretensioned()
	force := c.ship.WindForce(c.story.Weather.WindMS, c.story.Weather.WindFromDeg)
	lo, hi := 0.0, 14.0
	for range 16 {
		mid := (lo + hi) / 2
		at, err := rig.Equilibrium(force, lengths, mooring.Pose{RiseFwdM: mid, RiseAftM: mid})
		if err != nil || c.hardest(at.TensionKN) > 0.6 {
			hi = mid
		} else {
			lo = mid
		}
	}
	rate := lo / (118. / 60)
	if hi >= 13.9 || rate > 4.9 {
		c.impossible()
		return
	}
	c.story.Weather.TideM = 0.1
	c.story.Cargo = simulate.Cargo{FwdMH: -rate * between(c.rng, 0.9, 1.1), AftMH: -rate * between(c.rng, 0.9, 1.1)}
	c.story.Cargo.FwdMH, c.story.Cargo.AftMH = max(c.story.Cargo.FwdMH, -5), max(c.story.Cargo.AftMH, -5)
	c.story.Events = []simulate.Event{}
}

func (c *scene) brakeRenders() {
	at := c.at(6, 8)
	i := c.sharing(0.08, 0.5, c.onDrum)
	if i < 0 {
		c.impossible()
		return
	}
	c.squall(between(c.rng, 0.36, 0.44), at, c.at(3, 5))
	holds := c.rest()[i]
	render := holds * between(c.rng, 1.08, 1.25)
	c.add(simulate.Event{At: at, Kind: simulate.WeakBrake, Line: c.plan.Lines[i].ID, Value: render,
		HoldKN: render * between(c.rng, 0.5, 0.9)})
}

func (c *scene) drumCreeps() {
	i := c.sharing(0.05, 0.5, c.onDrum)
	if i < 0 {
		c.impossible()
		return
	}
	c.story.Sensors.NoPayout = false
	c.add(simulate.Event{At: c.at(5, 8), Kind: simulate.Creep, Line: c.plan.Lines[i].ID, For: c.at(2, 6),
		Value: between(c.rng, 0.07, 0.3)})
}

func (c *scene) jerks(i int, total float64) {
	n := 2 + c.rng.IntN(3)
	at := c.at(5, 8)
	for range n {
		c.add(simulate.Event{At: at, Kind: simulate.Surge, Line: c.plan.Lines[i].ID, Value: total / float64(n)})
		at += c.at(0.05, 0.4)
	}
}

func (c *scene) drumJerks() {
	i := c.sharing(0.08, 0.5, c.onDrum)
	if i < 0 {
		c.impossible()
		return
	}
	c.story.Sensors.NoPayout = false
	c.jerks(i, between(c.rng, 0.08, 0.4))
}

// giving is the length that a line gives so as to lose a share of MBL were the
// ship to stand still.
func (c *scene) giving(i int, share float64) float64 {
	rig := mooring.NewRig(c.ship)
	load, length := c.rest()[i], rig.LengthM(i, mooring.Pose{})
	law := rig.Law(i)
	return law.UnstretchedM(max(0, load-share*c.plan.Lines[i].MBLkN), length) - law.UnstretchedM(load, length)
}

// unread makes line i one whose pay-out nobody reads.
func (c *scene) unread(i int) {
	if c.onDrum(i) {
		c.story.Sensors.NoPayout = true
	}
}

func (c *scene) bittsSteps() {
	i := c.sharing(0.1, 0.5, anyLine)
	if i < 0 {
		c.impossible()
		return
	}
	c.unread(i)
	share := c.rest()[i] / c.plan.Lines[i].MBLkN
	c.jerks(i, c.giving(i, between(c.rng, 0.5, 0.8)*share))
}

func (c *scene) bittsCreep() {
	i := c.sharing(0.1, 0.5, anyLine)
	if i < 0 {
		c.impossible()
		return
	}
	c.unread(i)
	share := c.rest()[i] / c.plan.Lines[i].MBLkN
	lost := between(c.rng, 0.5, 0.8) * share
	lasts := c.at(0.8, 2)
	c.add(simulate.Event{At: c.at(5, 8), Kind: simulate.Creep, Line: c.plan.Lines[i].ID, For: lasts,
		Value: c.giving(i, lost) / lasts.Minutes()})
}

func (c *scene) parts() {
	i := c.sharing(0.055, 0.6, func(i int) bool {
		for _, e := range c.story.Events {
			if e.Line == c.plan.Lines[i].ID {
				return false
			}
		}
		return true
	})
	if i < 0 {
		c.impossible()
		return
	}
	c.add(simulate.Event{At: c.at(5, 10), Kind: simulate.Part, Line: c.plan.Lines[i].ID})
}

// unseenLine takes the pin off a line that carries a tenth of its MBL or more
// beside a mate with one, and gives every other line a pin; -1 where none is so.
func (c *scene) unseenLine() int {
	rest := c.rest()
	for i := range c.plan.Lines {
		c.plan.Lines[i].Instrumented, c.ship.Lines[i].Instrumented = true, true
	}
	i := c.line(func(i int) bool { return c.withMate(i) && rest[i] > 0.1*c.plan.Lines[i].MBLkN })
	if i >= 0 {
		c.plan.Lines[i].Instrumented, c.ship.Lines[i].Instrumented = false, false
	}
	return i
}

func (c *scene) partsUnseen() {
	i := c.unseenLine()
	if i < 0 {
		c.impossible()
		return
	}
	c.add(simulate.Event{At: c.at(6, 10), Kind: simulate.Part, Line: c.plan.Lines[i].ID})
}

// partsUnseenInASquall parts an unseen line some minutes into a squall that lifts a
// ship off her fenders.
func (c *scene) partsUnseenInASquall() {
	i := c.unseenLine()
	if i < 0 {
		c.impossible()
		return
	}
	at := c.at(6, 7)
	c.squall(between(c.rng, 0.26, 0.36), at, c.at(4, 6))
	c.add(simulate.Event{At: at + c.at(1.5, 2.5), Kind: simulate.Part, Line: c.plan.Lines[i].ID})
}

// worked has line i worked by hand, the watch stood down for one on bitts.
func (c *scene) worked(i int, at time.Duration, kN float64) {
	if !c.onDrum(i) || c.story.Sensors.NoPayout {
		c.story.Sensors.NoWatch = false
		c.add(simulate.Event{At: at - 5*time.Second, Kind: simulate.StandDown, For: 45 * time.Second})
	}
	c.add(simulate.Event{At: at, Kind: simulate.Tend, Line: c.plan.Lines[i].ID, Value: kN})
}

func (c *scene) overTight() {
	i := c.sharing(0.03, 0.3, c.withMate)
	if i < 0 {
		c.impossible()
		return
	}
	c.worked(i, c.at(5, 7), between(c.rng, 0.34, 0.44)*c.plan.Lines[i].MBLkN)
}

func (c *scene) leftSlack() {
	i := c.sharing(0.09, 0.4, c.withMate)
	if i < 0 {
		c.impossible()
		return
	}
	c.worked(i, c.at(5, 7), 0)
}

func (c *scene) snatches() {
	if c.stiffest() < 0.15 {
		c.impossible()
		return
	}
	i := c.sharing(0.02, 0.3, anyLine)
	if i < 0 {
		c.impossible()
		return
	}
	c.story.Sensors.TensionHz = []int{4, 5, 10, 20}[c.rng.IntN(4)]
	c.worked(i, c.at(3, 4), 0.004*c.plan.Lines[i].MBLkN)
	w := &c.story.Weather
	w.SwellS = between(c.rng, 5, 8)
	span := min(1, 1.56*w.SwellS*w.SwellS/c.plan.Ship.LoaM)
	height := min(9, 4*between(c.rng, 0.1, 0.17)/(0.3*span*c.stiffest()))
	c.add(simulate.Event{At: c.at(5, 8), Kind: simulate.Swell, For: c.at(2, 4), Value: height})
}

func (c *scene) fault(k simulate.Kind, value float64, lasts time.Duration) {
	i := c.line(c.pinned)
	if i < 0 {
		c.impossible()
		return
	}
	c.add(simulate.Event{At: c.at(5, 8), Kind: k, Line: c.plan.Lines[i].ID, Value: value, For: lasts})
}

func (c *scene) gap()        { c.fault(simulate.Gap, 0, c.at(0.4, 3)) }
func (c *scene) notANumber() { c.fault(simulate.NotANumber, 0, c.at(0.4, 3)) }
func (c *scene) stuck(k simulate.Kind) {
	c.fault(k, 0, c.at(4, 7))
}

func (c *scene) outOfRange() {
	mbl := c.plan.Lines[0].MBLkN
	value := -between(c.rng, 0.15, 1) * mbl
	if chance(c.rng, 0.5) {
		value = between(c.rng, 1.3, 4) * mbl
	}
	c.fault(simulate.OutOfRange, value, c.at(0.5, 3))
}

// deadPin reads no load, or near it, for good.
func (c *scene) deadPin() {
	i := c.sharing(0.055, 0.5, anyLine)
	if i < 0 {
		c.impossible()
		return
	}
	c.add(simulate.Event{At: c.at(5, 8), Kind: simulate.Dead, Line: c.plan.Lines[i].ID, For: time.Hour,
		Value: between(c.rng, -0.01, 0.01) * c.plan.Lines[i].MBLkN})
}

// bollardGives eases a line that carries no pin by much of its load.
func (c *scene) bollardGives() {
	i := c.unseenLine()
	if i < 0 {
		c.impossible()
		return
	}
	share := c.rest()[i] / c.plan.Lines[i].MBLkN
	c.add(simulate.Event{At: c.at(6, 10), Kind: simulate.Yield, Line: c.plan.Lines[i].ID,
		Value: c.giving(i, between(c.rng, 0.7, 1)*share)})
}

func (c *scene) spikes() {
	value := between(c.rng, 0.15, 0.6) * c.plan.Lines[0].MBLkN
	if chance(c.rng, 0.3) {
		value = -value
	}
	c.fault(simulate.Spikes, value, c.at(2, 4))
}

func (c *scene) shift(lasts time.Duration) {
	i := c.sharing(0.07, 0.4, anyLine)
	if i < 0 {
		c.impossible()
		return
	}
	value := between(c.rng, 0.075, 0.15) * c.plan.Lines[i].MBLkN
	if load := c.rest()[i]; chance(c.rng, 0.4) && value < 0.6*load {
		value = -value
	}
	c.add(simulate.Event{At: c.at(6, 8), Kind: simulate.ZeroShift, Line: c.plan.Lines[i].ID, For: lasts, Value: value})
}

func (c *scene) zeroJump()  { c.shift(0) }
func (c *scene) zeroDrift() { c.shift(c.at(10, 25)) }

// The quiet ones.

func (c *scene) worksCargo() {
	rate := between(c.rng, -0.7, 0.7)
	c.story.Cargo = simulate.Cargo{FwdMH: rate * between(c.rng, 0.5, 1.5), AftMH: rate * between(c.rng, 0.5, 1.5)}
}

func (c *scene) squalls() {
	for at := 5.0; at < 32; at += between(c.rng, 7, 12) {
		c.squall(between(c.rng, 0.2, 0.33), time.Duration(at*minute*seconds), c.at(2, 6))
	}
}

// liftsOff has squalls lift a ship with a line that nobody sees off her fenders.
func (c *scene) liftsOff() {
	if c.unseenLine() < 0 {
		c.impossible()
		return
	}
	for at := 6.0; at < 32; at += between(c.rng, 9, 14) {
		c.squall(between(c.rng, 0.26, 0.36), time.Duration(at*minute*seconds), c.at(1.5, 5))
	}
}

func (c *scene) passing() {
	push := c.ship.WindForce(c.story.Weather.WindMS, c.story.Weather.WindFromDeg)
	for at := 4.0; at < 32; at += between(c.rng, 9, 14) {
		value := between(c.rng, 0.4, 1.0) * max(math.Abs(push.SwayKN), 0.3*c.plan.Ship.LoaM)
		if chance(c.rng, 0.5) {
			value = -value
		}
		c.add(simulate.Event{At: time.Duration(at * minute * seconds).Round(50 * time.Millisecond), Kind: simulate.Pass,
			For: c.at(2, 7), Value: value})
	}
}

func (c *scene) tending() {
	for at := 4.0; at < 35; at += between(c.rng, 1, 4) {
		i := c.line(anyLine)
		c.worked(i, time.Duration(at*minute*seconds).Round(50*time.Millisecond), c.rest()[i]*between(c.rng, 0.7, 1.3))
	}
}

func (c *scene) departs() {
	c.story.Sensors.NoWatch = false
	c.add(simulate.Event{At: 10 * time.Minute, Kind: simulate.StandDown, For: time.Hour})
	at := 10.5
	for _, i := range c.rng.Perm(len(c.plan.Lines)) {
		if at > 20 || len(c.story.Events) > len(c.plan.Lines)-2 {
			break // somebody must hold her in a simulation
		}
		c.add(simulate.Event{At: time.Duration(at * minute * seconds).Round(50 * time.Millisecond), Kind: simulate.Tend,
			Line: c.plan.Lines[i].ID})
		at += between(c.rng, 0.1, 1)
	}
}

// untold leaves it to brakes and loads to tell that the watch is stood down. On bitts, or
// with nothing to read on the winches, there is nothing to tell it by.
func (c *scene) untold() {
	s := &c.story.Sensors
	s.NoWatch = true
	if s.NoPayout || slices.ContainsFunc(c.plan.Lines, func(l mooring.Line) bool { return l.MadeFast != mooring.Winch }) {
		c.impossible()
	}
}

func (c *scene) arrives() { c.madeFastWithin(c.at(6, 9)) }

// madeFastWithin puts the lines out from the start, and the berth under watch then.
func (c *scene) madeFastWithin(d time.Duration) {
	c.story.Sensors.NoWatch = false
	c.add(simulate.Event{Kind: simulate.StandDown, For: d})
	for i := range c.plan.Lines {
		if !chance(c.rng, 0.6) {
			continue
		}
		id := c.plan.Lines[i].ID
		c.add(simulate.Event{At: c.at(0.1, 0.3), Kind: simulate.Tend, Line: id})
		c.add(simulate.Event{At: c.at(2, 5), Kind: simulate.Tend, Line: id, Value: c.plan.Lines[i].PretensionKN})
	}
}
