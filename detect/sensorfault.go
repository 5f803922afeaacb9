package detect

import (
	"fmt"
	"math"
)

// sensorFaults watches the load pins themselves. A line whose pin is at fault is out of
// every other condition until the pin has been healthy for 30 s, or for 3 min where it
// was stuck or out of range and still contradicts the other lines: it may have come back
// wrong. A fault is one alarm, though its reason may change:
//
//	gap      no reading for 10 s
//	bad      no number for 10 s, or three in four of the readings of 10 s no numbers
//	range    for 3 s outside −0.08 to 1.2 of MBL, where no line can be
//	spikes   three isolated readings within 60 s (see spikes)
//	stuck    one value for 60 s while the other lines say that the load changes (see stuck)
//	         or all of them stand still at once (see standstill)
//	zero     different from what the other lines say, without a cause (see zeroShifts)
//	dead     its load fell to nothing and the ship did not answer (see retest)
//
// Source: common practice, no source.
const (
	gapAfter     = 10 * second
	recoverTicks = 30 * ticksPerSecond
	provenTicks  = 180 * ticksPerSecond
	rangeLow     = -0.08
	rangeHigh    = 1.2
	rangeTicks   = 3 * second
)

type fault uint8

const (
	healthy fault = iota
	gap
	badReadings
	outOfRange
	spiking
	stuckPin
	allStuck
	zeroShift
	deadPin
)

// health is the state of a load pin.
type health struct {
	Fault        fault
	Raised       bool
	HealthyTicks int32 // without a reason, while at fault
	Since        int64 // when the reason that was raised began, Unix nanoseconds
}

// sensorFaults is the tick's step of every pin.
func (b *Berth) sensorFaults(now moment) {
	b.spikes(now)
	if now.Second {
		b.standsStill(now)
	}
	for i := range b.state.Lines {
		if !b.plan.Lines[i].Instrumented {
			continue
		}
		l := &b.state.Lines[i]
		h := &l.Health
		reason, since := b.diagnose(now, i)
		switch {
		case reason != healthy:
			if h.Fault == healthy {
				h.Since = since
			}
			h.Fault, h.HealthyTicks = reason, 0
		case h.Fault != healthy:
			if h.HealthyTicks++; h.HealthyTicks >= provenTicks || h.HealthyTicks >= recoverTicks && !b.backWrong(i) {
				h.Fault = healthy
			}
		}
		if b.state.Watch.Off {
			continue
		}
		switch faulty := h.Fault != healthy; {
		case faulty && !h.Raised:
			h.Raised = true
			value, unit := b.faultFigure(now, i)
			b.raise(now, i, Change{Condition: SensorFault, By: h.Fault.measure(), Onset: h.Since, Value: value, Unit: unit, Detail: b.faultDetail(now, i)})
			b.withdraw(now, i)
			if h.Fault == stuckPin { // what the others lost beside it
				b.forgetLosses()
			}
		case !faulty && h.Raised:
			h.Raised = false
			b.clear(now, i, Change{Condition: SensorFault, Value: orZero(l.Pin.Last), Unit: "kN",
				Detail: fmt.Sprintf("The load pin of line %s reads %.0f kN; the line is monitored again.", b.id(i), whole(orZero(l.Pin.Last)))})
		}
	}
}

// backWrong reports whether line i's pin, which was stuck or out of range, contradicts the
// other lines by what would be a shift of its zero.
func (b *Berth) backWrong(i int) bool {
	l := &b.state.Lines[i]
	return (l.Health.Fault == stuckPin || l.Health.Fault == outOfRange) && l.Fit.Known &&
		math.Abs(l.Zero.Shift) >= zeroTarget*b.plan.Lines[i].MBLkN
}

// diagnose is what is wrong with line i's pin at this moment, and since when.
func (b *Berth) diagnose(now moment, i int) (fault, int64) {
	l := &b.state.Lines[i]
	p := &l.Pin
	received := max(p.ReceivedAt, b.state.First)
	good := max(p.LastAt, b.state.First)
	switch {
	case now.Time-received > gapAfter:
		return gap, received
	case p.OutRun >= 3 && now.Time-p.OutSince >= rangeTicks:
		return outOfRange, p.OutSince
	case now.Time-good > gapAfter, p.mostlyBad():
		return badReadings, good
	case p.spiking(now):
		return spiking, p.Spikes[p.SpikeCount%spikesToRaise]
	case b.state.Standstill.Is && b.standsWithAll(now, i):
		return allStuck, b.state.Standstill.Since
	case b.stuck(now, i):
		return stuckPin, p.Still.Since
	}
	switch z := &l.Zero; {
	case z.Shifted && z.DeadLLR > 0:
		b.report(HoldingLLR, i, z.DeadLLR, z.DeadThreshold)
		return deadPin, z.Since
	case z.Shifted:
		return zeroShift, z.Since
	}
	return healthy, 0
}

// faultFigure is the value and unit that go with line i's fault.
func (b *Berth) faultFigure(now moment, i int) (float64, string) {
	l := &b.state.Lines[i]
	switch l.Health.Fault {
	case gap, badReadings:
		return math.Round(float64(now.Time-l.Health.Since)/float64(second)*10) / 10, "s"
	case outOfRange:
		return l.Pin.Out, "kN"
	case spiking:
		return spikesToRaise, "spikes"
	case zeroShift, deadPin:
		return l.Zero.Shift, "kN"
	}
	return orZero(l.Pin.Last), "kN"
}

// faultDetail is the sentence that goes with line i's fault.
func (b *Berth) faultDetail(now moment, i int) string {
	l := &b.state.Lines[i]
	id, v := b.id(i), orZero(l.Pin.Last)
	what := ""
	switch l.Health.Fault {
	case gap:
		what = fmt.Sprintf("The load pin of line %s has sent nothing for %.0f s", id, float64(now.Time-l.Health.Since)/float64(second))
	case badReadings:
		what = fmt.Sprintf("The load pin of line %s has sent no usable number for most of %.0f s", id, float64(now.Time-l.Health.Since)/float64(second))
	case outOfRange:
		what = fmt.Sprintf("The load pin of line %s reads %.0f kN, which the line cannot carry", id, l.Pin.Out)
	case spiking:
		what = fmt.Sprintf("The load pin of line %s gives isolated readings, %d within %.0f s, the last of %.0f kN", id, spikesToRaise,
			float64(now.Time-l.Health.Since)/float64(second), l.Pin.Spike)
	case stuckPin:
		what = fmt.Sprintf("The load pin of line %s has stood at %.1f kN for %.0f s while the other lines show that its load changes", id, v,
			float64(now.Time-l.Health.Since)/float64(second))
	case allStuck:
		return fmt.Sprintf("All load pins have stood still together for %.0f s, that of line %s at %.1f kN: what is sent is not what the lines carry; "+
			"no line is monitored until they move again: look at the lines themselves and check what gathers and sends the readings.",
			float64(now.Time-l.Health.Since)/float64(second), id, v)
	case zeroShift:
		what = fmt.Sprintf("The load pin of line %s reads %.0f kN, %.0f kN %s than the other lines indicate", id, whole(v), math.Abs(l.Zero.Shift),
			map[bool]string{true: "more", false: "less"}[l.Zero.Shift > 0])
	case deadPin:
		what = fmt.Sprintf("The load pin of line %s fell to %.0f kN at once, and in %.0f s since the ship has not moved as she would without the line", id, whole(v),
			float64(now.Time-l.Health.Since)/float64(second))
	}
	return what + "; the line is not monitored until the pin is in order: look at the line itself and check pin and cable."
}

// orZero replaces NaN by 0.
func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// mostlyBad reports whether three in four or more of the readings of the last ten
// seconds were no numbers.
func (p *pin) mostlyBad() bool {
	var bad, good int32
	for k := range p.Tally {
		bad += p.Tally[k].Bad
		good += p.Tally[k].Good
	}
	return bad >= 5 && bad >= 3*good
}
