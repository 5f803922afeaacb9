package simulate

import (
	"math"
	"time"

	"hawser/detect/mooring"
)

const (
	// partingTicks is how long a line takes to let go: 0.2 s.
	partingTicks = int64(200 * time.Millisecond / tick)
	// renderMS is how fast a drum runs out at most, m/s.
	renderMS = 0.8
	// workingMS is how fast a crew heaves or pays out, m/s.
	workingMS = 0.15
	// handsTicks is the crew's pause between brake and drum.
	handsTicks = int64(2 * time.Second / tick)
	// surgeMS is how fast turns on bitts, or a jerking drum, give.
	surgeMS = 0.6
	// yieldMS is how fast a bollard gives.
	yieldMS = 1.0
	// hangingM is by how much a line worked to no load hangs.
	hangingM = 0.4
	// brakeCatch is the share of its setting at which a sound brake holds again.
	brakeCatch = 0.92
)

// lineState is one line on deck.
type lineState struct {
	paidM     float64 // unstretched, drum or bitts to hook
	zeroM     float64 // where the pay-out counter stands at 0
	renderKN  float64 // what the brake or the turns hold
	holdKN    float64 // at which it holds again
	weakUntil int64   // tick at which a weak brake is sound again
	runM      float64 // left to run out at a surge
	creepM    float64 // runs out each tick
	creeping  int64   // tick at which that ends
	yieldM    float64 // left for its bollard to give
	shoreM    float64 // given by its bollard so far
	slipping  bool

	tending  bool // by hand, brake released
	targetKN float64
	handsOff int64 // tick before which the crew does nothing

	parting  int64   // the tick of letting go it is at, 0 before
	driftM   float64 // length added by letting go
	stretchM float64 // length that leaves it slack
}

// deck is the lines with what holds them.
type deck struct {
	plan        *mooring.Plan
	rig         *mooring.Rig
	lines       []lineState
	unstretched []float64 // by line, as the mechanics want it
	tensionKN   []float64 // by line, at the last look
}

func newDeck(plan *mooring.Plan) deck {
	d := deck{plan: plan, rig: mooring.NewRig(plan)}
	d.unstretched = d.rig.Pretensioned()
	d.tensionKN = make([]float64, len(d.unstretched))
	d.lines = make([]lineState, len(d.unstretched))
	for i := range d.lines {
		d.lines[i].paidM = d.unstretched[i]
		d.lines[i].zeroM = d.unstretched[i]
		d.sound(i)
	}
	return d
}

// sound sets line i's brake as the plan has it; turns on bitts hold.
func (d *deck) sound(i int) {
	l := &d.lines[i]
	l.renderKN, l.weakUntil = math.Inf(1), math.MaxInt64
	if render := d.plan.Lines[i].BrakeRenderKN; render > 0 && d.plan.Lines[i].MadeFast == mooring.Winch {
		l.renderKN = render
	}
	l.holdKN = brakeCatch * l.renderKN
}

// payoutM is what line i's drum has paid out since it was zeroed, in unstretched
// metres.
func (d *deck) payoutM(i int) float64 { return d.lines[i].paidM - d.lines[i].zeroM }

// start begins an event of a line.
func (d *deck) start(e Event, now, until int64) {
	i := d.plan.Line(e.Line)
	l := &d.lines[i]
	switch e.Kind {
	case WeakBrake:
		l.renderKN, l.holdKN, l.weakUntil = e.Value, e.HoldKN, until
		if e.For == 0 {
			l.weakUntil = math.MaxInt64
		}
	case Part:
		l.parting, l.tending, l.slipping, l.runM = max(l.parting, 1), false, false, 0
	case Surge:
		l.runM += e.Value
	case Creep:
		l.creepM, l.creeping = e.Value/60*tickS, until
	case Yield:
		l.yieldM += e.Value
	case Tend:
		l.tending, l.targetKN, l.handsOff, l.slipping = true, e.Value, now+handsTicks, false
		l.runM, l.creeping = 0, 0
		d.sound(i)
	}
}

// step lets brakes render, crews work and lines part for one tick, with the
// fairleads where they are seen.
func (d *deck) step(now int64, seen mooring.Pose) {
	for i := range d.lines {
		l := &d.lines[i]
		if now >= l.weakUntil {
			d.sound(i)
		}
		switch {
		case l.tending:
			d.tend(i, now, seen)
		case l.parting > 0:
			d.part(i, seen)
		default:
			d.run(i, now)
			d.hold(i, seen)
		}
		give := min(l.yieldM, yieldMS*tickS)
		l.yieldM -= give
		l.shoreM += give
		d.unstretched[i] = l.paidM + l.driftM + l.shoreM
	}
}

// run lets line i surge and creep with its brake set.
func (d *deck) run(i int, now int64) {
	l := &d.lines[i]
	if step := min(l.runM, surgeMS*tickS); step > 0 {
		l.runM -= step
		l.paidM += step
	}
	if now < l.creeping {
		l.paidM += l.creepM
	}
}

// hold lets the drum run out once the load passes what the brake renders at,
// until it has fallen to what the brake holds again. Past its breaking load a
// line parts.
func (d *deck) hold(i int, seen mooring.Pose) {
	l := &d.lines[i]
	load := d.tensionKN[i]
	if load > d.plan.Lines[i].MBLkN {
		l.parting = 1
		return
	}
	if load > l.renderKN {
		l.slipping = true
	}
	if !l.slipping {
		return
	}
	if load <= l.holdKN {
		l.slipping = false
		return
	}
	slack := d.rig.UnstretchedM(i, l.holdKN, seen) - l.shoreM
	l.paidM += min(max(0, slack-l.paidM), renderMS*tickS)
	if slack <= l.paidM {
		l.slipping = false
	}
}

// part lets line i go over partingTicks.
func (d *deck) part(i int, seen mooring.Pose) {
	l := &d.lines[i]
	if l.parting == 1 {
		// What it is stretched by, and a little over, so that it ends slack.
		l.stretchM = max(0, d.rig.LengthM(i, seen)-l.paidM-l.shoreM) * 1.05
	}
	if l.parting > partingTicks {
		l.driftM = math.Inf(1)
		return
	}
	l.driftM = l.stretchM * float64(l.parting) / float64(partingTicks)
	l.parting++
}

// tend works line i toward its target; a parted line is replaced, slack, first.
func (d *deck) tend(i int, now int64, seen mooring.Pose) {
	l := &d.lines[i]
	if now < l.handsOff {
		return
	}
	want := d.rig.UnstretchedM(i, l.targetKN, seen) - l.shoreM
	if l.targetKN == 0 {
		want += hangingM
	}
	if l.parting > 0 {
		l.parting, l.driftM = 0, 0
		l.paidM, l.zeroM = 1.03*d.rig.LengthM(i, seen), want
	}
	step := want - l.paidM
	l.paidM += max(-workingMS*tickS, min(step, workingMS*tickS))
	if math.Abs(step) <= workingMS*tickS {
		l.tending = false
	}
}
