package detect

import (
	"fmt"
	"math"
)

// loadSlip watches the lines whose pay-out nobody tells, on bitts or on a drum
// without that sensor: raised when for 3 s the line has carried 0.015 of MBL or
// more less than a minute ago, against what the other lines say it should carry,
// by more than chance and the plan's errors allow. It is cleared like a slip of a
// drum. A slow loss, over many minutes, is not told here but as a shifted zero.
// kN.
//
//	─76 s──────reference──────46 s┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄16 s───now────0
//
// What is compared are means, of 30 s and of 16 s: a swell, and pins that read at
// different instants, leave them nearly alone. How far they usually differ is
// learnt, for the line and the weather, from before the last minute or two. A look
// each 40 s has little to do with the one before, 90 an hour of a line; for one
// false alarm in 5,000 line-hours each may err by 2e-6, which for a spread known
// from the 15 such looks of ten minutes is 7 times it (Student's t). To that comes
// what the ship's way in that time has put on the line, by as much as the line's
// answer to it is in doubt. Other lines that have risen as far against their word,
// or too few that keep it, leave open which line it was. Source: Student's t; the
// figures of MBL are common practice, no source.
const (
	loadSlip   = 0.015 // of MBL
	lossShort  = 16    // s
	lossFrom   = 46    // s ago, newest of the reference
	lossKept   = 76    // s
	lossSpread = 7     // times the usual difference
	lossBlank  = 0.004 // of MBL, usual difference before it is learnt
	lossBlanks = 120   // s for which that counts
	lossMemory = 600   // s
	lossDoubts = 2     // standard deviations of the line's answer to the ship's way
	lossHold   = 3     // s
	lossStill  = 5     // s
	lossRisen  = 0.7   // of the fall, rise of another line that contests it
)

// loss keeps, second by second, how far a line is from the word of the others.
type loss struct {
	Offs   [lossKept]float64 // kN, by second; NaN for none
	Ways   [lossKept]float64 // how far the ship draws the line out, m
	Fall   float64           // the means' difference now, kN; 0 where not known
	Least  float64           // fall that is too much, kN
	Square [3]float64        // usual square of Fall: a minute or two ago, less than that ago, now
	Closed int64             // when the newest but one was closed, Unix nanoseconds
	Looks  float64           // seconds that went into it
	Age    float64           // Fit.Age; a younger fit is a new beginning
	Held   int32             // seconds that the loss has been large
}

func (p *loss) forget() {
	*p = loss{}
	for k := range p.Offs {
		p.Offs[k], p.Ways[k] = bad, bad
	}
}

// mean of the seconds from..to ago; ok is false where half of them are missing.
func (p *loss) mean(at, from, to int64) (v float64, ok bool) {
	var sum, n float64
	for k := from; k < to; k++ {
		if off := p.Offs[(at-k)%lossKept]; !math.IsNaN(off) {
			sum += off
			n++
		}
	}
	return sum / n, 2*n > float64(to-from)
}

// went is how far the ship's way drew the line out and in meanwhile, m.
func (p *loss) went() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range p.Ways {
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
	keep, risen := 0, 0.0
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if !b.losing(now, i) {
			continue
		}
		mbl := b.plan.Lines[i].MBLkN
		risen = max(risen, -l.Loss.Fall/mbl)
		if math.Abs(l.Loss.Fall) < l.Loss.Least/2 {
			keep++
		}
	}
	for i := range b.state.Lines {
		p := &b.state.Lines[i].Loss
		if p.Fall == 0 || b.paysOut(now, i) {
			continue
		}
		b.weigh(LoadLost, i, p.Fall, p.Least)
		if p.Fall < p.Least || risen*b.plan.Lines[i].MBLkN > lossRisen*p.Fall || keep <= modes {
			p.Held = 0
		} else if p.Held++; p.Held >= lossHold {
			b.lostLoad(now, i)
		}
	}
}

// losing takes a second's step for line i and reports whether its loss is known.
func (b *Berth) losing(now moment, i int) bool {
	l := &b.state.Lines[i]
	p, f, mbl := &l.Loss, &l.Fit, b.plan.Lines[i].MBLkN
	off, ok := f.second()
	if !ok || !f.Known || f.Age < grown || f.Age < p.Age || !b.watched(now, i) || b.partedLately(now) || l.Part.Since != 0 {
		p.forget()
		return false
	}
	if p.Age == 0 {
		s := lossBlank * mbl
		p.Square, p.Closed = [3]float64{s * s, s * s, s * s}, now.Time
	}
	if now.Time-l.Pin.StillSince > lossStill*second {
		off += l.Watched.Smooth - l.Watched.Low // what the pin has not felt since it stands still is no loss
	}
	p.Age = f.Age
	at := now.Time / second
	p.Offs[at%lossKept], p.Ways[at%lossKept] = off, b.way(i)
	p.Fall = 0
	before, ok := p.mean(at, lossFrom, lossKept)
	if !ok {
		return false
	}
	late, ok := p.mean(at, 0, lossShort)
	if !ok {
		return false
	}
	p.Fall = before - late
	p.Looks = min(p.Looks+1, lossMemory)
	p.Square[2] += (p.Fall*p.Fall - p.Square[2]) / min(p.Looks+lossBlanks, lossMemory)
	if now.Time-p.Closed >= 60*second {
		p.Square, p.Closed = [3]float64{p.Square[1], p.Square[2], p.Square[2]}, now.Time
	}
	doubt := lossDoubts * l.Giving.doubt(f, mbl) * p.went() * f.Stiff
	p.Least = max(loadSlip*mbl, lossSpread*math.Sqrt(p.Square[0])) + doubt
	return true
}

// partedLately reports whether a line has parted, seen or not, within the time
// that the mooring is upset by it.
func (b *Berth) partedLately(now moment) bool {
	return b.state.Parted != 0 && now.Tick-b.state.Parted < upsetFor
}

// lostLoad tells of line i.
func (b *Berth) lostLoad(now moment, i int) {
	l := &b.state.Lines[i]
	fall, mbl := l.Loss.Fall, b.plan.Lines[i].MBLkN
	l.Loss.forget()
	l.Fit.Age, l.Slip.Quiet, b.state.Upset = 0, 0, now.Tick
	if l.Slip.Up {
		return
	}
	l.Slip.Up = true
	b.raise(now, i, Change{Condition: BrakeSlip, By: LoadLost, Value: fall, Limit: loadSlip * mbl, HasLimit: true, Unit: "kN",
		Detail: fmt.Sprintf("Line %s lost %.0f kN within a minute, to %.0f kN (%s of MBL), that the other lines do not explain; keep clear of the mooring deck and check how it is made fast.",
			b.id(i), fall, l.Pin.Last, b.percent(i, l.Pin.Last))})
}

// paysOut reports whether a sensor tells line i's pay-out.
func (b *Berth) paysOut(now moment, i int) bool {
	d := &b.state.Lines[i].Drum
	return d.Seen > 0 && now.Time-d.OutAt <= 30*second
}
