package detect

import (
	"fmt"
	"math"
)

// loadSlips detects slip on lines whose pay-out is not measured, on bitts or on a drum
// without that sensor. It is raised when for 3 s the line has carried 0.015 of MBL or
// more less than a minute ago, relative to the load expected from the other lines, by
// more than chance and the plan's errors allow. It is cleared like a slip of a drum. A
// slow loss, over many minutes, is not raised here but as a shifted zero. kN.
//
//	─76 s──────reference──────46 s┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄16 s───now────0
//
// Means of 30 s and of 16 s are compared: a swell, and pins that read at different
// instants, hardly change them. The usual difference is estimated, for the line and
// the weather, from before the last minute or two. Comparisons 40 s apart are nearly
// independent, 90 an hour for a line; for one false alarm in 5,000 line-hours each may
// err with probability 2e-6, which for a standard deviation known from the 15 such
// comparisons of ten minutes is 7 times it (Student's t). To that is added what the ship's
// movement from one mean to the other has put on the line, as far as its stiffness ratio
// is uncertain, and those of the lines it is compared with, and a step of the pin's
// reading, which hides as much. If other lines have gained as much against their expected
// load, or too few keep to it, fewer than four unless it is all the others, it is not
// known which line it was, and nothing is raised; nor where others lost as much while the
// ship moved, for then the fit is wrong about all; nor where two others did and the line
// carried so little that the three hardly slipped together; nor where another lost some of
// it too, most of it only by where the ship is, and one line that no others vouch for says
// where: that may have slipped.
// Nor where the line still carries more than expected: the fit was led astray, as by others
// that slipped unknown, and comes back. Nor, but of a line that gives at strokes, while a pin
// may be stuck; once it is found to be, all comparisons begin anew, as it told wrong where
// the ship is. Nor of a line that was told as hanging slack. A load that fell at a stroke may
// be a pin's zero that jumped (see pinJumped). Source: Student's t; the figures of MBL are
// common practice, no source.
const (
	lossMin          = 0.015 // of MBL
	lossRecent       = 16    // s; length of the newest mean
	lossRefNewest    = 46    // s ago; newest of the reference
	lossRefOldest    = 76    // s ago
	lossSigma        = 7     // standard deviations
	lossPriorSD      = 0.004 // of MBL; standard deviation before it is estimated
	lossPriorSeconds = 120   // for which that counts
	lossWindow       = 600   // s; of the estimate
	lossRatioSigma   = 2     // standard deviations of the stiffness ratios
	lossMoveLeast    = 0.5   // of the range of a stretch; as much as this counts as movement from mean to mean
	lossHold         = 3     // s
	lossStuck        = 5     // s
	lossContested    = 0.7   // of the drop; gain or loss of another line from which it is contested
	lossAlone        = 0.3   // of the drop; the same where one line alone says where the ship is
	lossManyFrom     = 0.3   // of MBL; least load before from which it may slip at once with two others
	lossStillMore    = 0.5   // of the drop; by as much more than expected it may carry after it
	lossLeastKnown   = 3     // lines, where all but one may do
	lossStroke       = 0.5   // of the drop; sharpest fall of one that was by strokes
	lossSudden       = 3     // s; mean that tells how far a slip has gone
	lossByShip       = 0.7   // of the load that the ship's movement put on the line; a larger drop is not contested by another line's loss
)

// loadLoss holds a line's residuals, second by second.
type loadLoss struct {
	Residuals   [lossRefOldest]float64 // kN, by second; NaN for none
	ShipStretch [lossRefOldest]float64 // stretch by the ship's position, m
	Falls       [lossRefOldest]float64 // largest fall of the load from one reading to the next, kN, by second
	Known       bool                   // Drop is
	Drop        float64                // difference of the means now, kN
	Doubt       float64                // of the stretch by the ship's position, m, standard deviation
	Threshold   float64                // of Drop, kN
	ShipLoad    float64                // range of the load by the ship's position, kN
	ShipRise    float64                // what the ship's position put on the line from mean to mean, kN
	MeanSquare  [3]float64             // of Drop, kN²: until one or two minutes ago, until less than that ago, now
	ClosedAt    int64                  // end of MeanSquare[1], Unix nanoseconds
	Seconds     float64                // in the mean square
	FitAge      float64                // Fit.Age; a lower one means that the fit has restarted
	Held        int32                  // seconds that Drop has been over Threshold
	SlippedAt   int64                  // when a slip was last raised, Unix nanoseconds; 0 for never
	SlippedBy   float64                // load that the line had lost then, kN
	JumpedAt    int64                  // when a fall was last taken for a jump of the pin's zero, Unix nanoseconds; 0 for never
	JumpedBy    float64                // that fall, kN
}

// reset forgets all but the last slip and the last jump.
func (l *loadLoss) reset() {
	*l = loadLoss{SlippedAt: l.SlippedAt, SlippedBy: l.SlippedBy, JumpedAt: l.JumpedAt, JumpedBy: l.JumpedBy}
	for k := range l.Residuals {
		l.Residuals[k], l.ShipStretch[k] = missing, missing
	}
}

// lossMean is the mean of the seconds from..to ago; ok is false where half of them are
// missing.
func lossMean(of *[lossRefOldest]float64, at, from, to int64) (v float64, ok bool) {
	var sum, n float64
	for k := from; k < to; k++ {
		if r := of[(at-k)%lossRefOldest]; !math.IsNaN(r) {
			sum += r
			n++
		}
	}
	return sum / n, 2*n > float64(to-from)
}

// sudden is what the line has lost since the reference by some seconds up to at, kN.
func (l *loadLoss) sudden(at, seconds int64) (drop float64, ok bool) {
	before, known := lossMean(&l.Residuals, at, lossRefNewest, lossRefOldest-seconds)
	recent, ok := lossMean(&l.Residuals, at, 0, seconds)
	return before - recent, known && ok
}

// stillMore reports whether the line carries more than the others indicate all the same.
func (l *loadLoss) stillMore(at int64) bool {
	recent, ok := lossMean(&l.Residuals, at, 0, lossRecent)
	return ok && recent > lossStillMore*l.Drop
}

// stretchRange is the range of the stretch by the ship's position, m.
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

// allLosses is what the lines together lost and gained, of MBL.
type allLosses struct {
	gain    float64    // largest
	largest [3]float64 // losses
	alone   bool       // a line says where the ship is that no others vouch for
}

// add takes a line's loss, of MBL; negative for a gain.
func (a *allLosses) add(share float64) {
	a.gain = max(a.gain, -share)
	a.largest[2] = max(a.largest[2], min(share, a.largest[1]))
	a.largest[1] = max(a.largest[1], min(share, a.largest[0]))
	a.largest[0] = max(a.largest[0], share)
}

// contest reports whether the others leave it open which line it was, of one that has lost
// loss.Drop and now carries this load, kN.
func (a *allLosses) contest(loss *loadLoss, load, mbl float64) bool {
	share := loss.Drop / mbl
	return a.gain > lossContested*share ||
		a.largest[2] > lossContested*share && load+loss.Drop < lossManyFrom*mbl || // too light for three to slip
		a.largest[1] > lossContested*share && loss.Drop < lossByShip*loss.ShipLoad ||
		a.largest[1] > lossAlone*share && loss.ShipRise > loss.Drop/2 && a.alone
}

// loadSlips is the second's step of every line.
func (b *Berth) loadSlips(now moment) {
	known, steady := 0, 0 // lines of which it is; of them, those near their expected load
	doubts := 0.0         // sum of squares, m²
	var all allLosses
	for i := range b.state.Lines {
		if loss := &b.state.Lines[i].LoadLoss; b.updateLoss(now, i) {
			known++
			doubts += loss.Doubt * loss.Doubt
		}
		all.alone = all.alone || b.state.Lines[i].Fit.Weight > 0 && !b.state.Lines[i].Fit.Determined
	}
	for i := range b.state.Lines {
		loss, mbl := &b.state.Lines[i].LoadLoss, b.plan.Lines[i].MBLkN
		if !loss.Known {
			continue
		}
		// the others' doubts come through the ship's position, which they share
		doubt := math.Sqrt(loss.Doubt*loss.Doubt + modes*doubts/float64(known*known))
		loss.Threshold = max(lossMin*mbl, lossSigma*math.Sqrt(loss.MeanSquare[0])) + lossRatioSigma*doubt*b.state.Lines[i].Fit.Stiffness +
			b.state.Lines[i].Pin.Resolution
		all.add(loss.Drop / mbl)
		if math.Abs(loss.Drop) < loss.Threshold/2 {
			steady++
		}
	}
	for i := range b.state.Lines {
		loss := &b.state.Lines[i].LoadLoss
		if b.hasPayout(now, i) || b.state.Lines[i].Slack.Up {
			continue // it is told by its drum, or hangs slack and was told
		}
		if drop := loss.fellAgain(now); drop > 0 {
			loss.Drop, loss.JumpedAt = loss.JumpedBy+drop, 0
			b.report(LoadLost, i, loss.Drop, lossMin*b.plan.Lines[i].MBLkN)
			b.raiseLoadLoss(now, i)
			continue
		}
		if !loss.Known {
			continue
		}
		b.report(LoadLost, i, loss.Drop, loss.Threshold)
		others := steady > modes || known >= lossLeastKnown && steady >= known-1 // say which it was
		if loss.Drop < loss.Threshold || !others || all.contest(loss, b.state.Lines[i].Pin.Last, b.plan.Lines[i].MBLkN) ||
			loss.stillMore(now.Time/second) || b.mayBeStuck(now) && !b.gaveAtStrokes(now, i) {
			loss.Held = 0
		} else if loss.Held++; loss.Held >= lossHold {
			switch jumped, wait := b.pinJumped(now, i); {
			case jumped:
				loss.JumpedAt, loss.JumpedBy = now.Time, loss.Drop
				loss.reset()
				b.state.Lines[i].Parting.RefutedAt = now.Tick
			case !wait:
				b.raiseLoadLoss(now, i)
			}
		}
	}
}

// updateLoss is the second's step of line i; it reports whether Drop is known now.
func (b *Berth) updateLoss(now moment, i int) bool {
	l := &b.state.Lines[i]
	loss, f, mbl := &l.LoadLoss, &l.Fit, b.plan.Lines[i].MBLkN
	residual, ok := f.secondMean()
	if !ok || !f.Known || !f.Determined || f.Age < settledFitAge || f.Age < loss.FitAge || !b.monitored(now, i) || l.Parting.FirstTest != 0 || l.Parting.Latch.Up {
		loss.reset()
		return false
	}
	if loss.FitAge == 0 {
		s := lossPriorSD * mbl
		loss.MeanSquare, loss.ClosedAt = [3]float64{s * s, s * s, s * s}, now.Time
	}
	if now.Time-l.Pin.Still.Since > lossStuck*second {
		residual += l.Expected.Smooth - l.Expected.Low // a rise that a stuck pin does not follow is no loss
	}
	if f.Expected == 0 && l.Pin.Last <= partZeroLoad*mbl {
		residual = missing // slack, as the others say: that tells nothing of what it carries when it does
	}
	loss.FitAge = f.Age
	at := now.Time / second
	loss.Residuals[at%lossRefOldest], loss.ShipStretch[at%lossRefOldest] = residual, b.stretchFromShip(i)
	loss.Falls[at%lossRefOldest] = l.steepestFall(now)
	loss.Known = false
	before, ok := lossMean(&loss.Residuals, at, lossRefNewest, lossRefOldest)
	if !ok {
		return false
	}
	recent, ok := lossMean(&loss.Residuals, at, 0, lossRecent)
	if !ok {
		return false
	}
	loss.Drop, loss.Known = before-recent, true
	loss.Seconds = min(loss.Seconds+1, lossWindow)
	loss.MeanSquare[2] += (loss.Drop*loss.Drop - loss.MeanSquare[2]) / min(loss.Seconds+lossPriorSeconds, lossWindow)
	if now.Time-loss.ClosedAt >= 60*second {
		loss.MeanSquare, loss.ClosedAt = [3]float64{loss.MeanSquare[1], loss.MeanSquare[2], loss.MeanSquare[2]}, now.Time
	}
	stretch := loss.stretchRange()
	was, _ := lossMean(&loss.ShipStretch, at, lossRefNewest, lossRefOldest)
	is, _ := lossMean(&loss.ShipStretch, at, 0, lossRecent)
	loss.ShipLoad, loss.ShipRise = stretch*f.Stiffness, (is-was)*f.Stiffness
	loss.Doubt = l.Stiffness.sd(f, mbl) * max(math.Abs(is-was), lossMoveLeast*stretch)
	return true
}

// gaveAtStrokes reports whether line i lost its load by falls from one reading to the next.
// A pin that is stuck and has a say in where the ship is makes others seem to lose theirs
// as she moves.
func (b *Berth) gaveAtStrokes(now moment, i int) bool {
	l := &b.state.Lines[i]
	sharpest := 0.0
	for k := range int64(lossRecent + lossRefNewest) {
		sharpest = max(sharpest, l.LoadLoss.Falls[(now.Time/second-k)%lossRefOldest])
	}
	return l.Pin.Interval <= strokeMaxInterval && sharpest >= lossStroke*l.LoadLoss.Drop
}

// raiseLoadLoss raises brake-slip for line i.
func (b *Berth) raiseLoadLoss(now moment, i int) {
	l := &b.state.Lines[i]
	drop, mbl := l.LoadLoss.Drop, b.plan.Lines[i].MBLkN
	l.LoadLoss.SlippedAt, l.LoadLoss.SlippedBy = now.Time, drop
	if lost, ok := l.LoadLoss.sudden(now.Time/second, lossSudden); ok {
		l.LoadLoss.SlippedBy = lost
	}
	l.LoadLoss.reset()
	l.Fit.Age, l.Slip.Quiet, b.state.DisturbedAt = 0, 0, now.Tick
	if !b.newSlip(now, i) {
		return
	}
	check := "how it is made fast"
	if l.Pin.Last <= partZeroLoad*mbl { // a line that parts while it is slack does not collapse
		check = "whether it holds at all"
	}
	b.raise(now, i, Change{Condition: BrakeSlip, By: LoadLost, Value: drop, Limit: lossMin * mbl, HasLimit: true, Unit: "kN",
		Detail: fmt.Sprintf("Line %s lost %.0f kN within a minute, to %.0f kN (%s of MBL), that the other lines do not explain; keep clear of the mooring deck and check %s.",
			b.id(i), drop, whole(l.Pin.Last), b.percent(i, l.Pin.Last), check)})
}

// hasPayout reports whether line i's pay-out is measured.
func (b *Berth) hasPayout(now moment, i int) bool {
	d := &b.state.Lines[i].Drum
	return d.Seen > 0 && now.Time-d.PaidOutAt <= 30*second
}

// forgetLosses begins all lines' comparisons anew.
func (b *Berth) forgetLosses() {
	for i := range b.state.Lines {
		b.state.Lines[i].LoadLoss.reset()
	}
}
