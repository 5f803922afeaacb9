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
	lossMin          = 0.015 // of MBL
	lossRecent       = 16    // s
	lossRefNewest    = 46    // s ago, newest of the reference
	lossRefOldest    = 76    // s
	lossSigma        = 7     // times the usual difference
	lossPriorSD      = 0.004 // of MBL, usual difference before it is learnt
	lossPriorSeconds = 120   // s for which that counts
	lossWindow       = 600   // s
	lossRatioSigma   = 2     // standard deviations of the line's answer to the ship's way
	lossHold         = 3     // s
	lossStuck        = 5     // s
	lossContested    = 0.7   // of the fall, rise of another line that contests it
)

// loss keeps, second by second, how far a line is from the word of the others.
type loadLoss struct {
	Residuals   [lossRefOldest]float64 // kN, by second; NaN for none
	ShipStretch [lossRefOldest]float64 // how far the ship draws the line out, m
	Drop        float64                // the means' difference now, kN; 0 where not known
	Threshold   float64                // fall that is too much, kN
	MeanSquare  [3]float64             // usual square of Fall: a minute or two ago, less than that ago, now
	ClosedAt    int64                  // when the newest but one was closed, Unix nanoseconds
	Seconds     float64                // seconds that went into it
	FitAge      float64                // Fit.Age; a younger fit is a new beginning
	Held        int32                  // seconds that the loss has been large
}

func (l *loadLoss) reset() {
	*l = loadLoss{}
	for k := range l.Residuals {
		l.Residuals[k], l.ShipStretch[k] = missing, missing
	}
}

// mean of the seconds from..to ago; ok is false where half of them are missing.
func (l *loadLoss) mean(at, from, to int64) (v float64, ok bool) {
	var sum, n float64
	for k := from; k < to; k++ {
		if off := l.Residuals[(at-k)%lossRefOldest]; !math.IsNaN(off) {
			sum += off
			n++
		}
	}
	return sum / n, 2*n > float64(to-from)
}

// went is how far the ship's way drew the line out and in meanwhile, m.
func (l *loadLoss) stretchRange() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range l.ShipStretch {
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
		if !b.updateLoss(now, i) {
			continue
		}
		mbl := b.plan.Lines[i].MBLkN
		risen = max(risen, -l.LoadLoss.Drop/mbl)
		if math.Abs(l.LoadLoss.Drop) < l.LoadLoss.Threshold/2 {
			keep++
		}
	}
	for i := range b.state.Lines {
		p := &b.state.Lines[i].LoadLoss
		if p.Drop == 0 || b.hasPayout(now, i) {
			continue
		}
		b.report(LoadLost, i, p.Drop, p.Threshold)
		if p.Drop < p.Threshold || risen*b.plan.Lines[i].MBLkN > lossContested*p.Drop || keep <= modes {
			p.Held = 0
		} else if p.Held++; p.Held >= lossHold {
			b.raiseLoadLoss(now, i)
		}
	}
}

// losing takes a second's step for line i and reports whether its loss is known.
func (b *Berth) updateLoss(now moment, i int) bool {
	l := &b.state.Lines[i]
	p, f, mbl := &l.LoadLoss, &l.Fit, b.plan.Lines[i].MBLkN
	off, ok := f.secondMean()
	if !ok || !f.Known || f.Age < settledFitAge || f.Age < p.FitAge || !b.monitored(now, i) || b.partedRecently(now) || l.Parting.FirstTest != 0 {
		p.reset()
		return false
	}
	if p.FitAge == 0 {
		s := lossPriorSD * mbl
		p.MeanSquare, p.ClosedAt = [3]float64{s * s, s * s, s * s}, now.Time
	}
	if now.Time-l.Pin.StillSince > lossStuck*second {
		off += l.Expected.Smooth - l.Expected.Low // what the pin has not felt since it stands still is no loss
	}
	p.FitAge = f.Age
	at := now.Time / second
	p.Residuals[at%lossRefOldest], p.ShipStretch[at%lossRefOldest] = off, b.stretchFromShip(i)
	p.Drop = 0
	before, ok := p.mean(at, lossRefNewest, lossRefOldest)
	if !ok {
		return false
	}
	late, ok := p.mean(at, 0, lossRecent)
	if !ok {
		return false
	}
	p.Drop = before - late
	p.Seconds = min(p.Seconds+1, lossWindow)
	p.MeanSquare[2] += (p.Drop*p.Drop - p.MeanSquare[2]) / min(p.Seconds+lossPriorSeconds, lossWindow)
	if now.Time-p.ClosedAt >= 60*second {
		p.MeanSquare, p.ClosedAt = [3]float64{p.MeanSquare[1], p.MeanSquare[2], p.MeanSquare[2]}, now.Time
	}
	doubt := lossRatioSigma * l.Stiffness.sd(f, mbl) * p.stretchRange() * f.Stiffness
	p.Threshold = max(lossMin*mbl, lossSigma*math.Sqrt(p.MeanSquare[0])) + doubt
	return true
}

// partedLately reports whether a line has parted, seen or not, within the time
// that the mooring is upset by it.
func (b *Berth) partedRecently(now moment) bool {
	return b.state.PartedAt != 0 && now.Tick-b.state.PartedAt < disturbedTicks
}

// lostLoad tells of line i.
func (b *Berth) raiseLoadLoss(now moment, i int) {
	l := &b.state.Lines[i]
	fall, mbl := l.LoadLoss.Drop, b.plan.Lines[i].MBLkN
	l.LoadLoss.reset()
	l.Fit.Age, l.Slip.Quiet, b.state.DisturbedAt = 0, 0, now.Tick
	if l.Slip.Up {
		return
	}
	l.Slip.Up = true
	b.raise(now, i, Change{Condition: BrakeSlip, By: LoadLost, Value: fall, Limit: lossMin * mbl, HasLimit: true, Unit: "kN",
		Detail: fmt.Sprintf("Line %s lost %.0f kN within a minute, to %.0f kN (%s of MBL), that the other lines do not explain; keep clear of the mooring deck and check how it is made fast.",
			b.id(i), fall, l.Pin.Last, b.percent(i, l.Pin.Last))})
}

// paysOut reports whether a sensor tells line i's pay-out.
func (b *Berth) hasPayout(now moment, i int) bool {
	d := &b.state.Lines[i].Drum
	return d.Seen > 0 && now.Time-d.PaidOutAt <= 30*second
}
