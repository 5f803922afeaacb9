package detect

import "math"

// A load that falls at a stroke on a line whose pay-out nobody measures is a slip, or a
// pin whose zero jumped. The ship tells them apart as she tells a parting from a dead
// pin: a line that slipped no longer holds her and she moves, as the predictor expects
// by the load that its pin reads. If the pin jumped she stays, and the prediction
// errors since show the movement that did not come: the signature of the lost pull,
// negative.
//
// They are tested once 12 s have passed, unless the line was over its limit: then it
// slipped. Only strong evidence against a slip (pinJumpLLR) makes it a fault of the pin,
// which the shift of its zero then raises, unless the load falls at a stroke again within
// two minutes: a rope that surges does, a pin's zero does not. Source: Newton's second
// law; the figures are common practice, no source.
const (
	strokeShare       = 0.6  // of the drop, in two seconds
	strokeAgain       = 0.3  // of that, another fall
	strokeSharp       = 0.75 // of that, from one reading to the next
	strokeMaxInterval = 0.6  // s between readings; slower pins show any fall as a stroke
	strokeLag         = 1.3  // s; from the step before the stroke until it, about, with the delay of the readings
	pinJumpLLR        = 10
	pinJumpAgain      = 120 * second  // within which a second fall makes the first a slip
	againNewest       = 2             // s; mean after a second fall
	againFrom         = 4             // s ago; newest of the mean before it
	againOldest       = 10            // s ago
	pinJumpMaxSec     = lossHold + 20 // seconds over the threshold, after which a slip is raised untested
)

// steepestFall is the largest fall of the load from one reading to the next within the
// second that ends here, kN.
func (l *line) steepestFall(now moment) (fall float64) {
	apart := l.Pin.intervalTicks() + 1
	for n := range int64(ticksPerSecond) {
		if d := l.loadAgo(now, n+apart) - l.loadAgo(now, n); d > fall {
			fall = d
		}
	}
	return fall
}

// strokeAge is how many seconds ago the load fell; ok is false where it did not do so
// once and at a stroke: a rope that slips surges again.
func (l *loadLoss) strokeAge(at int64) (age int64, ok bool) {
	fallOver := func(k int64) float64 {
		return l.Residuals[(at-k-1)%lossRefOldest] - l.Residuals[(at-k+1)%lossRefOldest]
	}
	most, again, sharpest := 0.0, 0.0, 0.0
	for k := int64(1); k <= lossRecent; k++ {
		if d := fallOver(k); d > most {
			most, age = d, k
		}
	}
	for k := int64(1); k <= lossRecent; k++ {
		if k < age-1 || k > age+1 {
			again = max(again, fallOver(k))
		} else {
			sharpest = max(sharpest, l.Falls[(at-k)%lossRefOldest])
		}
	}
	return age, most >= strokeShare*l.Drop && sharpest >= strokeSharp*most && again < strokeAgain*most
}

// fellAgain is by how much the load fell at a stroke in the last seconds, kN, where an
// earlier fall as large or up to twice that was taken for a jump of the pin's zero; else 0.
func (l *loadLoss) fellAgain(now moment) (drop float64) {
	if l.JumpedAt == 0 || now.Time-l.JumpedAt > pinJumpAgain {
		return 0
	}
	at := now.Time / second
	before, known := lossMean(&l.Residuals, at, againFrom, againOldest)
	after, ok := lossMean(&l.Residuals, at, 0, againNewest)
	sharpest := 0.0
	for k := range int64(againFrom) {
		sharpest = max(sharpest, l.Falls[(at-k)%lossRefOldest])
	}
	if drop = before - after; known && ok && drop >= l.JumpedBy/2 && sharpest >= strokeSharp*drop {
		return drop
	}
	return 0
}

// pinJumped reports whether the drop of line i's load is a jump of its pin's zero; wait
// is true while that cannot be said yet.
func (b *Berth) pinJumped(now moment, i int) (jumped, wait bool) {
	l, pr := &b.state.Lines[i], b.predictor()
	age, ok := l.LoadLoss.strokeAge(now.Time / second)
	if !ok || b.mayHaveSlipped(now, i) || l.Pin.Interval > strokeMaxInterval || pr.Steps <= predictorWarmup+historySteps || pr.Count < 2*errorDim {
		return false, false
	}
	base := pr.Steps - 1 - int64(math.Round(float64(age+1)/stepPeriod))
	if since := pr.Steps - 1 - base; since < maxHorizon || since >= historySteps {
		return false, since < maxHorizon && l.LoadLoss.Held < pinJumpMaxSec
	}
	z := pr.errorsFrom(base)
	for k := range z {
		z[k] = -z[k]
	}
	b.errorChol().whiten(&z)
	sig := b.lossSignature(i, l.LoadLoss.Drop, strokeLag)
	llr := pr.logLR(&z, &sig, horizonCount, minLossShare, maxLossShare, pr.noiseInflation())
	return llr > pinJumpLLR, false
}
