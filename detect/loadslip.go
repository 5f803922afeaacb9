package detect

import (
	"fmt"
	"math"
)

// loadSlip watches the lines whose pay-out nobody tells, on bitts or on a drum
// without that sensor: raised when, within 60 s, the line has lost 0.015 of MBL
// or more against what the other lines say it should carry, for 3 s, in steps
// or in a creep, and no other line has moved as far from its word. It is
// cleared like a slip of a drum. A slow loss, over many minutes, is not told
// here but as a shifted zero. kN. Source: common practice, no source.
//
// The usual difference is that of a minute or two ago: a creep that was measured
// by the noise it makes itself would never stand out. And the further the ship
// went in those 60 s, the more of what is unexplained is the plan's error, not
// the line's.
const (
	loadSlip   = 0.015 // of MBL
	loadAstray = 0.3   // of what the ship's way put on the line, most that the plan errs
	loadNoises = 8     // times the usual difference
	loadHold   = 3     // seconds
)

// loss keeps, second by second, how far a line is from the word of the others.
type loss struct {
	Offs    [slipWindow]float64 // smoothed over 5 s, kN; NaN for none
	Smooth  float64
	Moves   [slipWindow]float64 // how far the ship's way draws the line out, m, smoothed alike
	Way     float64
	Usual   [2]float64 // Fit.Noise of a minute or two ago, and of less than that
	UsualAt int64      // second at which the second was taken
	Age     float64    // Fit.Age; a younger fit is a new beginning
	Seconds int32      // that the loss has been large
}

func (p *loss) forget() {
	*p = loss{}
	for k := range p.Offs {
		p.Offs[k], p.Moves[k] = bad, bad
	}
}

// lost is how far the line has fallen from the highest of the window, and how
// far it has risen from the lowest.
func (p *loss) lost() (fall, rise float64) {
	for _, v := range p.Offs {
		if v-p.Smooth > fall {
			fall = v - p.Smooth
		}
		if p.Smooth-v > rise {
			rise = p.Smooth - v
		}
	}
	return fall, rise
}

// went is how far the ship's way drew the line out in the window, m.
func (p *loss) went() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range p.Moves {
		if v < lo {
			lo = v
		}
		if v > hi {
			hi = v
		}
	}
	return max(0, hi-lo)
}

// loadSlips takes a second's step for every line.
func (b *Berth) loadSlips(now moment) {
	worst, next, who := 0.0, 0.0, -1
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		p, f := &l.Loss, &l.Fit
		if !f.Known || f.Age < grown || f.Age < p.Age || !b.watched(now, i) || b.upset(now) || l.Part.Since != 0 {
			p.forget()
			continue
		}
		at, way := f.Off, b.way(i)
		if p.Age == 0 {
			p.Smooth, p.Way = at, way
			p.Usual, p.UsualAt = [2]float64{f.Noise, f.Noise}, now.Time
		}
		p.Age = f.Age
		p.Smooth += (at - p.Smooth) / 5
		p.Way += (way - p.Way) / 5
		p.Offs[now.Time/second%slipWindow], p.Moves[now.Time/second%slipWindow] = p.Smooth, p.Way
		if now.Time-p.UsualAt >= slipWindow*second {
			p.Usual, p.UsualAt = [2]float64{p.Usual[1], f.Noise}, now.Time
		}
		fall, rise := p.lost()
		if far := max(fall, rise) / b.plan.Lines[i].MBLkN; far > worst {
			worst, next, who = far, worst, i
		} else {
			next = max(next, far)
		}
	}
	for i := range b.state.Lines {
		if i != who {
			b.state.Lines[i].Loss.Seconds = 0
		}
	}
	if who >= 0 {
		b.lostLoad(now, who, next > 0.9*worst)
	}
}

// lostLoad judges the line that has gone furthest from the word of the others;
// contested says that another went nearly as far.
func (b *Berth) lostLoad(now moment, i int, contested bool) {
	l := &b.state.Lines[i]
	p, mbl := &l.Loss, b.plan.Lines[i].MBLkN
	fall, _ := p.lost()
	fall -= l.Watched.Smooth - l.Watched.Low // what the pin did not feel, for it stood still
	most := max(loadSlip*mbl, loadNoises*p.Usual[0]) + loadAstray*p.went()*l.Fit.Stiff
	b.weigh(LoadLost, i, fall, most)
	if contested || b.paysOut(now, i) || fall < most {
		p.Seconds = 0
		return
	}
	if p.Seconds++; p.Seconds < loadHold {
		return
	}
	for k := range b.state.Lines { // the word of this line has misled the others
		b.state.Lines[k].Loss.forget()
	}
	l.Fit.Age, l.Slip.Quiet, b.state.Upset = 0, 0, now.Tick
	if l.Slip.Up {
		return
	}
	l.Slip.Up = true
	b.raise(now, i, Change{Condition: BrakeSlip, By: LoadLost, Value: fall, Limit: loadSlip * mbl, HasLimit: true, Unit: "kN",
		Detail: fmt.Sprintf("Line %s lost %.0f kN within %d s, to %.0f kN (%s of MBL), that the other lines do not explain; keep clear of the mooring deck and check how it is made fast.",
			b.id(i), fall, slipWindow, l.Pin.Last, b.percent(i, l.Pin.Last))})
}

// paysOut reports whether a sensor tells line i's pay-out.
func (b *Berth) paysOut(now moment, i int) bool {
	d := &b.state.Lines[i].Drum
	return d.Seen > 0 && now.Time-d.OutAt <= 30*second
}
