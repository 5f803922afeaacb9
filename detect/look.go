package detect

import (
	"math"

	"hawser/detect/mooring"
)

// Look is what the detectors saw at the end of a tick: the loads, the fit, and
// what each detector weighed. It is valid during the call only.
type Look struct {
	Time int64 // Unix nanoseconds
	// Fitted is false where the loads do not tell the ship's place.
	Fitted bool
	// Surge and Sway in metres and Yaw in radians are the ship's place by the
	// loads, against her usual place of the last minutes, in the plan's frame.
	Surge, Sway, Yaw float64
	Lines            []LineLook // in the plan's order

	weighed [measures][]weight // by line, then by group
}

// LineLook is a line as the detectors saw it. What is not known is NaN. kN.
type LineLook struct {
	Load     float64 // present load
	Expected float64 // by the word of the other lines
	Residual float64 // Load − Expected
	Noise    float64 // usual size of Residual
}

// weight is a figure and the threshold it was held against.
type weight struct{ value, threshold float64 }

// Observe has f called at the end of every tick from now on, in the order of
// event time; nil ends it. It changes nothing of what is told, and a snapshot
// does not carry it.
func (b *Berth) Observe(f func(*Look)) {
	b.observe, b.look = f, nil
	if f == nil {
		return
	}
	b.look = &Look{Lines: make([]LineLook, len(b.plan.Lines))}
	for m := range b.look.weighed {
		b.look.weighed[m] = make([]weight, len(b.plan.Lines)+int(mooring.Stern)+1)
	}
	b.look.clear()
}

// Weighed is what was weighed in this tick on a line, by its index in the plan,
// and what it was held against; ok is false where it was not.
func (l *Look) Weighed(m Measure, line int) (value, threshold float64, ok bool) {
	w := l.weighed[m][line]
	return w.value, w.threshold, !math.IsNaN(w.value)
}

// GroupWeighed is as Weighed, for a group.
func (l *Look) GroupWeighed(m Measure, g mooring.Group) (value, threshold float64, ok bool) {
	return l.Weighed(m, len(l.Lines)+int(g))
}

func (l *Look) clear() {
	for m := range l.weighed {
		for k := range l.weighed[m] {
			l.weighed[m][k] = weight{bad, bad}
		}
	}
}

// weigh notes what is held against what on line i, for those who look on.
// Where nobody does it costs a comparison.
func (b *Berth) weigh(m Measure, i int, value, threshold float64) {
	if b.look != nil {
		b.look.weighed[m][i] = weight{value, threshold}
	}
}

func (b *Berth) weighGroup(m Measure, g mooring.Group, value, threshold float64) {
	b.weigh(m, len(b.plan.Lines)+int(g), value, threshold)
}

// shown shows the tick to those who look on.
func (b *Berth) shown(now moment) {
	if b.look == nil {
		return
	}
	k, m := b.look, &b.state.Motion
	k.Time, k.Fitted = now.Time, m.Ticks > 0
	k.Surge, k.Sway, k.Yaw = m.Q[0], m.Q[1], m.Q[2]/yawArm(&b.plan.Ship)
	for i := range k.Lines {
		l := &b.state.Lines[i]
		k.Lines[i] = LineLook{bad, bad, bad, bad}
		if l.Pin.fresh(now) {
			k.Lines[i].Load = l.Pin.Last
		}
		if l.Fit.Known {
			k.Lines[i].Expected, k.Lines[i].Residual, k.Lines[i].Noise = l.Fit.Expect, l.Fit.Off, l.Fit.Noise
		}
		if b.plan.Lines[i].Instrumented {
			b.weighPin(now, i)
		}
	}
	b.observe(k)
	k.clear()
}

// weighPin notes what the faults of a pin are told by, but for those that look
// at the other lines.
func (b *Berth) weighPin(now moment, i int) {
	p := &b.state.Lines[i].Pin
	since := func(t int64) float64 { return float64(now.Time-t) / float64(second) }
	b.weigh(Silence, i, since(max(p.HeardAt, b.state.First)), float64(gapAfter)/float64(second))
	outside := 0.0
	if p.OutRun > 0 {
		outside = since(p.OutSince)
	}
	b.weigh(OutsideRange, i, outside, float64(rangeTicks)/float64(second))
	var bad, all int32
	for _, t := range p.Tally {
		bad, all = bad+t.Bad, all+t.Bad+t.Good
	}
	if all > 0 {
		b.weigh(BadShare, i, 100*float64(bad)/float64(all), 75)
	}
	spikes := 0.0
	for k := range min(p.SpikeCount, spikesTold) {
		if now.Time-p.Spikes[k] <= spikesSpan {
			spikes++
		}
	}
	b.weigh(SpikeCount, i, spikes, spikesTold)
}
