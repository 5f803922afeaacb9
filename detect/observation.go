package detect

import (
	"math"

	"hawser/detect/mooring"
)

// Observation is what the detectors saw at the end of a tick: the loads, the motion
// fit, and the statistic of each detector with its threshold. It is valid during the
// call only.
type Observation struct {
	Time int64 // Unix nanoseconds
	// Fitted is false where the loads do not determine the ship's position.
	Fitted bool
	// Surge and Sway in metres and Yaw in radians are the ship's position by the
	// loads, relative to her mean position of the last minutes, in the plan's frame:
	// that of amidships at the fender face, about which Yaw turns her.
	Surge, Sway, Yaw float64
	Lines            []LineObservation // in the plan's order

	statistics [measures][]statistic // by line, then by group
}

// LineObservation is a line as the detectors saw it, kN. What is not known is NaN.
type LineObservation struct {
	Load     float64 // present load
	Expected float64 // by the other lines
	Residual float64 // Load − Expected
	Noise    float64 // mean magnitude of Residual
}

// statistic is a figure and the threshold that it is compared with.
type statistic struct{ value, threshold float64 }

// Observe has f called at the end of every tick from now on, in the order of event
// time; nil ends it. It does not change the detection, and a snapshot does not carry
// it.
func (b *Berth) Observe(f func(*Observation)) {
	b.observe, b.observation = f, nil
	if f == nil {
		return
	}
	b.observation = &Observation{Lines: make([]LineObservation, len(b.plan.Lines))}
	for m := range b.observation.statistics {
		b.observation.statistics[m] = make([]statistic, len(b.plan.Lines)+int(mooring.Stern)+1)
	}
	b.observation.clear()
}

// Statistic is the figure of a measure in this tick for a line, by its index in the
// plan, and its threshold; ok is false where it was not evaluated.
func (l *Observation) Statistic(m Measure, line int) (value, threshold float64, ok bool) {
	w := l.statistics[m][line]
	return w.value, w.threshold, !math.IsNaN(w.value)
}

// GroupStatistic is as Statistic, for a group.
func (l *Observation) GroupStatistic(m Measure, g mooring.Group) (value, threshold float64, ok bool) {
	return l.Statistic(m, len(l.Lines)+int(g))
}

func (l *Observation) clear() {
	for m := range l.statistics {
		for k := range l.statistics[m] {
			l.statistics[m][k] = statistic{missing, missing}
		}
	}
}

// report passes line i's statistic and its threshold to the observer, if there is one.
func (b *Berth) report(m Measure, i int, value, threshold float64) {
	if b.observation != nil {
		b.observation.statistics[m][i] = statistic{value, threshold}
	}
}

// reportGroup is as report, for a group.
func (b *Berth) reportGroup(m Measure, g mooring.Group, value, threshold float64) {
	b.report(m, len(b.plan.Lines)+int(g), value, threshold)
}

// notifyObserver shows the tick to the observer, if there is one.
func (b *Berth) notifyObserver(now moment) {
	if b.observation == nil {
		return
	}
	k, m := b.observation, &b.state.Motion
	k.Time, k.Fitted = now.Time, m.Ticks > 0
	k.Surge, k.Sway, k.Yaw = m.Pos[0], m.Pos[1], m.Pos[2]/yawArm(&b.plan.Ship)
	for i := range k.Lines {
		l := &b.state.Lines[i]
		k.Lines[i] = LineObservation{missing, missing, missing, missing}
		if l.Pin.fresh(now) {
			k.Lines[i].Load = l.Pin.Last
		}
		if l.Fit.Known {
			k.Lines[i].Expected, k.Lines[i].Residual, k.Lines[i].Noise = l.Fit.Expected, l.Fit.Residual, l.Fit.Noise
		}
		if b.plan.Lines[i].Instrumented {
			b.reportPin(now, i)
		}
	}
	b.observe(k)
	k.clear()
}

// reportPin reports the statistics of line i's pin that concern the pin alone.
func (b *Berth) reportPin(now moment, i int) {
	p := &b.state.Lines[i].Pin
	since := func(t int64) float64 { return float64(now.Time-t) / float64(second) }
	b.report(Silence, i, since(max(p.ReceivedAt, b.state.First)), float64(gapAfter)/float64(second))
	outside := 0.0
	if p.OutRun > 0 {
		outside = since(p.OutSince)
	}
	b.report(OutsideRange, i, outside, float64(rangeTicks)/float64(second))
	var bad, all int32
	for _, t := range p.Tally {
		bad, all = bad+t.Bad, all+t.Bad+t.Good
	}
	if all > 0 {
		b.report(BadShare, i, 100*float64(bad)/float64(all), 75)
	}
	if s := &b.state.Standstill; b.standsWithAll(now, i) {
		b.report(AllStill, i, float64(s.Stood)/float64(second), float64(s.threshold())/float64(second))
	}
	spikes := 0.0
	for k := range min(p.SpikeCount, spikesToRaise) {
		if now.Time-p.Spikes[k] <= spikesSpan {
			spikes++
		}
	}
	b.report(SpikeCount, i, spikes, spikesToRaise)
}
