package study_test

import (
	"math"
	"slices"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/ingest/simulate"
)

// oracle says what is true of a case from the loads as they were, before any
// sensor, by the conditions' definitions. A definition that holds with the
// sensors' errors against it is an event; one that holds to within 15 per cent
// of its threshold is neither for nor against.
type oracle struct {
	c      *scene
	t      *track
	end    float64
	parted map[int]float64 // line: when
	slipt  map[int]float64
	faulty map[int]span
	truth  truth
}

type span struct{ from, to, known float64 } // a fault, and when it must be known

const (
	nearly  = 0.85 // of a threshold: from here on it may be told
	forever = 1e9
)

func judgeScene(c *scene, t *track) (*truth, error) {
	o := &oracle{c: c, t: t, end: float64(t.steps()) / trackHz,
		parted: map[int]float64{}, slipt: map[int]float64{}, faulty: map[int]span{}}
	pins := 0
	for _, l := range c.plan.Lines {
		if l.Instrumented {
			pins++
		}
	}
	o.truth.lineHours = float64(pins) * o.end / 3600
	for k, e := range c.story.Events {
		if e.Kind == simulate.Yield || e.Kind == simulate.Part && !c.plan.Lines[c.plan.Line(e.Line)].Instrumented {
			if err := o.unseen(k); err != nil {
				return nil, err
			}
		}
		o.incident(e)
	}
	for i := range c.plan.Lines {
		o.slips(i)
	}
	for i := range c.plan.Lines {
		if !c.plan.Lines[i].Instrumented {
			continue
		}
		o.overLimit(i)
		o.approaching(i)
		o.snaps(i)
		o.shares(i)
	}
	return &o.truth, nil
}

// errorKN is how far line i's pin may read off at this load.
func (o *oracle) errorKN(i int, load float64) float64 {
	s := &o.c.story.Sensors
	return s.Gain*load + s.ZeroShare*o.c.ship.Lines[i].MBLkN + s.TensionStepKN/2 + 0.3*s.TensionNoiseKN
}

func (o *oracle) period() float64 { return 1 / float64(max(o.c.story.Sensors.TensionHz, 1)) }

func (o *oracle) bear(from, to float64, lines []string, conditions ...detect.Condition) {
	o.truth.tolerate = append(o.truth.tolerate, window{from, to, conditions, lines})
}

// bearLine tolerates a condition on line i.
func (o *oracle) bearLine(i int, c detect.Condition, from, to float64) {
	o.bear(from, to, []string{o.c.plan.Lines[i].ID}, c)
}

// due adds an event of line i that may be told again to no one's harm but ours
// until its tolerance ends.
func (o *oracle) due(i int, c detect.Condition, from, onset, deadline, until float64, repeats bool) {
	id := o.c.plan.Lines[i].ID
	o.truth.events = append(o.truth.events, event{condition: c, line: id, from: from, onset: onset, deadline: deadline,
		repeats: repeats, tolerate: []window{{from - 0.5, max(until, deadline), []detect.Condition{c}, []string{id}}}})
}

// untold bears what is so while the watch is stood down and no channel says it: lines over
// their limits, drums that render, and what the crew leaves behind once it has worked the
// last line.
func (o *oracle) untold(from, until float64) {
	o.bear(from, until, nil, detect.OverLimit, detect.ApproachingLimit)
	last := 0
	for i := range o.t.worked {
		last = max(last, o.t.worked[i][min(int(until*trackHz), o.t.steps()-1)])
		for k := int(from * trackHz); k < min(int(until*trackHz), o.t.steps()); k++ {
			if at := float64(k) / trackHz; !o.handled(i, at) && o.t.paid[i][k] > o.t.paid[i][max(0, k-1)] {
				o.bearLine(i, detect.BrakeSlip, at, at+minute)
			}
		}
	}
	o.bear(float64(last)/trackHz+minute, until, nil, detect.Imbalance, detect.SlackLine)
}

// silent reports whether nothing may be told of line i at a time: it parted, its
// pin is at fault, it is worked or the watch is stood down. What is told of
// lines at fault before the fault must be known is borne elsewhere.
func (o *oracle) silent(i int, at float64) bool {
	if when, ok := o.parted[i]; ok && at >= when-1 {
		return true
	}
	if f, ok := o.faulty[i]; ok && at >= f.from && at < f.to+90 {
		return true
	}
	return o.unwatched(at) || o.handled(i, at)
}

// handled reports whether line i was worked within the last 8 s.
func (o *oracle) handled(i int, at float64) bool {
	k := min(int(at*trackHz), o.t.steps()-1)
	return k-o.t.worked[i][k] <= 8*trackHz
}

// unwatched reports whether the watch is stood down, or was within a minute.
func (o *oracle) unwatched(at float64) bool { return o.stoodDown(at-minute, at) }

// stoodDown reports whether the watch is stood down at any time between two.
func (o *oracle) stoodDown(from, to float64) bool {
	for _, e := range o.c.story.Events {
		if off := e.At.Seconds(); e.Kind == simulate.StandDown && to >= off && from < off+e.For.Seconds() {
			return true
		}
	}
	return false
}

// incident is what an event of the story asks for by itself.
func (o *oracle) incident(e simulate.Event) {
	at, until := e.At.Seconds(), e.At.Seconds()+e.For.Seconds()
	i := o.c.plan.Line(e.Line)
	switch e.Kind {
	case simulate.StandDown:
		// what the first minute after shows of before is neither here nor there
		o.bear(until, until+2*minute, nil)
		if o.c.story.Sensors.NoWatch {
			o.untold(at, until)
		}
	case simulate.Part:
		o.parting(i, at)
	case simulate.Gap, simulate.NotANumber, simulate.OutOfRange:
		o.fault(i, at, until, at+15)
	case simulate.Dead:
		// in the first seconds nobody can know: no line's pull moves a ship so soon
		o.fault(i, at, forever, at+5*minute)
		o.bearLine(i, detect.LineParted, at-0.5, at+5)
	case simulate.Spikes:
		o.fault(i, at, until, at+90)
	case simulate.Stuck, simulate.Flicker:
		if due := o.moved(i, at, until); due > 0 {
			o.fault(i, at, until, max(due, at+90))
		} else {
			o.unclear(i, at, until)
		}
	case simulate.ZeroShift:
		far := math.Abs(e.Value) / o.c.plan.Lines[i].MBLkN
		if far < 0.06 {
			o.unclear(i, at, forever)
			break
		}
		o.fault(i, at, forever, at+e.For.Seconds()*0.06/far+15*minute)
	}
}

func (o *oracle) fault(i int, from, to, deadline float64) {
	o.faulty[i] = span{from, to, deadline}
	if deadline+5 > o.end || o.stoodDown(from, deadline) {
		o.unclear(i, from, to)
		return
	}
	o.due(i, detect.SensorFault, from-0.5, from, deadline, forever, false)
	o.bearFault(i, from, min(deadline, o.end))
}

// unclear is a fault that nobody can be asked to see.
func (o *oracle) unclear(i int, from, to float64) {
	o.faulty[i] = span{from, to, to}
	o.bearLine(i, detect.SensorFault, from-0.5, forever)
	o.bearFault(i, from, min(to, o.end)+2*minute)
}

// bearFault: until a fault must be known, what the pin says may be believed, of
// the line and of those held against it.
func (o *oracle) bearFault(i int, from, to float64) {
	own := []string{o.c.plan.Lines[i].ID}
	o.bear(from-1, to, own, detect.ApproachingLimit, detect.OverLimit, detect.Imbalance, detect.SlackLine, detect.BrakeSlip)
	o.bear(from-1, to+minute, o.mates(i), detect.Imbalance, detect.SlackLine)
}

func (o *oracle) mates(i int) []string {
	out := []string{}
	for k, l := range o.c.plan.Lines {
		if k != i && l.Group == o.c.plan.Lines[i].Group {
			out = append(out, l.ID)
		}
	}
	return out
}

// moved is 60 s after the load of a line that reads one value had strayed by
// 0.03 of MBL within a minute, as two others at least had; 0 for never.
func (o *oracle) moved(i int, from, to float64) float64 {
	for at := from + minute; at+minute < min(to, o.end); at++ {
		strays := 0
		for k, l := range o.c.plan.Lines {
			lo, hi := math.Inf(1), math.Inf(-1)
			for n := int((at - minute) * trackHz); n < int(at*trackHz); n++ {
				lo, hi = min(lo, o.t.loads[k][n]), max(hi, o.t.loads[k][n])
			}
			switch far := (hi - lo) / l.MBLkN; {
			case k == i && far < 0.03:
				strays = -len(o.c.plan.Lines)
			case far >= 0.02:
				strays++
			}
		}
		if strays >= 3 {
			return at + 30
		}
	}
	return 0
}

func (o *oracle) parting(i int, at float64) {
	o.parted[i] = at
	l := &o.c.plan.Lines[i]
	load := o.t.loads[i][int(at*trackHz)]
	o.bearLine(i, detect.SlackLine, at, forever)
	if !l.Instrumented {
		return
	}
	if f, ok := o.faulty[i]; load < 0.05*l.MBLkN || ok && at >= f.from && at < f.to || o.unwatched(at) {
		o.bearLine(i, detect.LineParted, at-0.5, forever)
		return
	}
	o.due(i, detect.LineParted, at-0.5, at, at+3, forever, false)
}

var ends = map[mooring.Group][]mooring.Group{
	mooring.Head:  {mooring.Head, mooring.FwdBreast, mooring.FwdSpring},
	mooring.Stern: {mooring.Stern, mooring.AftBreast, mooring.AftSpring},
}

// unseen is a parting that no pin sees, event n of the story: due 5 s after two other lines
// are 0.015 of MBL off where they would have been.
func (o *oracle) unseen(n int) error {
	bare, err := without(o.c, n)
	if err != nil {
		return err
	}
	at, i := o.c.story.Events[n].At.Seconds(), o.c.plan.Line(o.c.story.Events[n].Line)
	e := event{condition: detect.Redistribution, groups: ends[mooring.Head], from: at - 0.5, onset: at,
		tolerate: []window{{at - 0.5, forever, []detect.Condition{detect.Redistribution}, nil}}}
	if slices.Contains(ends[mooring.Stern], o.c.plan.Lines[i].Group) {
		e.groups = ends[mooring.Stern]
	}
	for k := int(at * trackHz); k < min(o.t.steps(), int((at+90)*trackHz)) && !o.unwatched(at); k++ {
		off := 0
		for j, l := range o.c.plan.Lines {
			if j != i && l.Instrumented && math.Abs(o.t.loads[j][k]-bare.loads[j][k]) >= 0.015*l.MBLkN {
				off++
			}
		}
		if off >= 2 {
			e.deadline = float64(k)/trackHz + 5
			o.truth.events = append(o.truth.events, e)
			return nil
		}
	}
	o.truth.tolerate = append(o.truth.tolerate, e.tolerate...)
	return nil
}

// slips looks for line i running out with its brake set.
func (o *oracle) slips(i int) {
	l := &o.c.plan.Lines[i]
	if l.MadeFast != mooring.Winch || o.c.story.Sensors.NoPayout {
		o.losses(i)
		return
	}
	from, onset, sure := o.runsOut(i)
	switch {
	case from == 0:
	case !l.Instrumented: // it sends nothing; the ship may feel it
		o.bear(from-0.5, forever, nil, detect.Redistribution)
	case sure != 0 && onset >= 2/float64(o.c.story.Sensors.PayoutHz): // read twice before
		o.due(i, detect.BrakeSlip, from-0.5, onset, sure+10, forever, false)
	default:
		o.bearLine(i, detect.BrakeSlip, from-0.5, forever)
	}
	if sure != 0 {
		o.slipt[i] = from
	}
	o.afterSlip(i, from)
}

// runsOut is when line i has nearly run out by a slip, when it has, and when its
// pay-out sensor must show it; 0 for never.
func (o *oracle) runsOut(i int) (from, onset, sure float64) {
	const nearlyM = 0.02
	slipM := o.c.plan.Limits.SlipM
	low := newLowest(minute * trackHz)
	for k, out := range o.t.paid[i] {
		at := float64(k) / trackHz
		if o.handled(i, at) || o.unwatched(at) {
			low = newLowest(minute * trackHz)
		}
		run := out - low.of(k, out)
		if run >= nearlyM && from == 0 {
			from = at
		}
		if run >= slipM && onset == 0 {
			onset = at
		}
		if run >= slipM+0.008+3*o.c.story.Sensors.PayoutNoiseM {
			return from, onset, at
		}
	}
	return from, onset, 0
}

// afterSlip: what hangs by a slip, and what its mates then carry, may be told.
func (o *oracle) afterSlip(i int, from float64) {
	if from > 0 {
		o.bearLine(i, detect.SlackLine, from, forever)
		o.bear(from, forever, o.mates(i), detect.Imbalance)
	}
}

// losses looks for line i giving on its bitts, or on a drum that nobody reads,
// by what it carries less, where the ship is, for what it has paid out within a
// minute; the mean of ten seconds, for in a wave's peak little costs much. Of a loss that
// is lost in the swing of the load nobody is asked.
func (o *oracle) losses(i int) {
	l := &o.c.plan.Lines[i]
	if !l.Instrumented {
		return
	}
	law, unstretched := mooring.NewLaw(o.c.ship, i), mooring.NewRig(o.c.ship).Pretensioned()[i]
	var from, onset, deadline, lost float64
	for k := range o.t.loads[i] {
		at := float64(k) / trackHz
		if o.t.paid[i][k]-o.t.paid[i][max(0, k-60*trackHz)] < 0.01 || o.handled(i, at) || o.unwatched(at) {
			continue
		}
		if _, gone := o.parted[i]; gone && at >= o.parted[i] {
			break
		}
		if from == 0 {
			from = at
		}
		length := unstretched + o.t.paid[i][k]
		stretch, _ := law.StretchM(o.t.loads[i][k], length)
		gave := o.t.paid[i][k] - o.t.paid[i][max(0, k-60*trackHz)]
		lost += (law.TensionKN(length+stretch, length-gave) - o.t.loads[i][k] - lost) / (10 * trackHz)
		if lost >= 0.02*l.MBLkN && onset == 0 {
			onset = at
		}
		if lost >= 0.03*l.MBLkN && lost >= o.t.swing(i, k)/2 {
			deadline = at + minute
			break
		}
	}
	switch {
	case deadline > 0 && from >= minute: // it was seen for a minute before
		o.slipt[i] = from
		o.due(i, detect.BrakeSlip, from-0.5, onset, deadline, forever, false)
	case from > 0:
		o.bearLine(i, detect.BrakeSlip, from-0.5, forever)
	}
	o.afterSlip(i, from)
}

// lowest is the least of a window that slides.
type lowest struct {
	span int
	at   []int
	v    []float64
}

func newLowest(span float64) *lowest { return &lowest{span: int(span)} }

func (l *lowest) of(k int, v float64) float64 {
	for len(l.v) > 0 && l.v[len(l.v)-1] >= v {
		l.v, l.at = l.v[:len(l.v)-1], l.at[:len(l.at)-1]
	}
	l.v, l.at = append(l.v, v), append(l.at, k)
	for l.at[0] < k-l.span {
		l.v, l.at = l.v[1:], l.at[1:]
	}
	return l.v[0]
}
