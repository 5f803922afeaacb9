package detect

import "math"

// leastLossSD is by how many standard deviations the log-likelihood ratio that a loss is
// expected to make must be over the threshold: nine normal ones in ten then are.
const leastLossSD = 1.28

// LeastLosses appends to dst, by line in the plan's order, the load that a line must have
// carried for its parting to be told by how the ship moves (see redistribution) nine times
// in ten, in disturbances like those of the last minutes, kN; +Inf where that is more than
// its MBL. NaN where a pin would show the parting, and where none that no pin shows is told
// at present: the ship's position is not known for long enough, a line has just parted,
// lines are being worked or the watch is stood down. Source: the power of the two
// tests, to first order; the study holds it against partings.
func (b *Berth) LeastLosses(dst []float64) []float64 {
	now := moment{Time: b.state.Tick * tickLength, Tick: b.state.Tick - 1}
	looks := b.looksForUnseen(now) && b.errorChol()[0][0] != 0 // which is not in a snapshot
	var recent whitenedInnovations
	for i := range b.plan.Lines {
		least := math.NaN()
		if looks && b.canPartUnseen(i) {
			if recent.inflation == 0 {
				recent = b.recentInnovations()
			}
			least = b.leastLoss(now, i, &recent)
		}
		dst = append(dst, least)
	}
	return dst
}

// leastLoss is LeastLosses for a line whose parting no pin shows.
func (b *Berth) leastLoss(now moment, i int, recent *whitenedInnovations) float64 {
	load, ok := b.likelyLoad(now, i)
	if !ok {
		return math.NaN()
	}
	loss := b.expectedLoss(now, i, load, recent)
	untold, most := b.leastFelt(i, load), b.plan.Lines[i].MBLkN/load
	share := untold
	for ; !loss.told(share); share *= 1.2 {
		if !(share < most) {
			return math.Inf(1)
		}
		untold = share
	}
	for range 10 { // bisection
		if middle := (untold + share) / 2; loss.told(middle) {
			share = middle
		} else {
			untold = middle
		}
	}
	if share > most {
		return math.Inf(1)
	}
	return share * load
}

// expectedLoss is what the loss of a line's estimated load would show in the two tests of
// redistribution.
type expectedLoss struct {
	threshold                 float64
	far, sudden               expectedTest
	along, across, both, step float64 // squared lengths of its white signatures, and the product of the first two
}

func (b *Berth) expectedLoss(now moment, i int, load float64, recent *whitenedInnovations) expectedLoss {
	pr := b.predictor()
	far, sudden := b.lossSignature(i, load, redistLag), recent.signature(b.lossAccel(i, load))
	threshold, _ := b.lossThresholds(now, i)
	l := expectedLoss{threshold: threshold,
		far:    expectedTest{errorDim, pr.degrees(), pr.noiseInflation() * pr.Range.inflation(pr.Steps-1)},
		sudden: expectedTest{modes * (responseSteps - 1), innovationDegrees, recent.inflation},
		along:  dotFirst(&far.along, &far.along, errorDim),
		across: dotFirst(&far.across, &far.across, errorDim),
		both:   dotFirst(&far.along, &far.across, errorDim)}
	for k := range responseSteps - 1 {
		l.step += dot(&sudden[k], &sudden[k])
	}
	return l
}

// told reports whether nine in ten losses of a share of the estimated load would be told.
func (l *expectedLoss) told(share float64) bool {
	along, across := min(share, redistMaxShare), max(redistMinShare, min(share, redistMaxShare))
	square := func(along, across float64) float64 {
		return along*along*l.along + across*across*l.across + 2*along*across*l.both
	}
	all := square(share, share)
	far, farSD := l.far.llr(all, all-square(share-along, share-across))
	all = share * share * l.step
	sudden, suddenSD := l.sudden.llr(all, all-(share-across)*(share-across)*l.step)
	return far-leastLossSD*farSD >= redistLeastFar && sudden-leastLossSD*suddenSD >= redistLeastSudden &&
		far+sudden-leastLossSD*math.Hypot(farSD, suddenSD) >= l.threshold
}

// expectedTest is a test by Student's t distribution.
type expectedTest struct{ dim, degrees, inflation float64 }

// llr is the log-likelihood ratio to expect, and its standard deviation, of a loss that adds
// all to the sum of squares, of which the likeliest loss tested explains a part. Noise adds
// its dimension to the sum, and varies that part by twice its root, to first order.
func (t expectedTest) llr(all, explained float64) (mean, sd float64) {
	half := (t.degrees + t.dim) / 2
	noise := 2 * half * t.inflation
	rest := noise + all - explained
	return half * math.Log((noise+all)/rest), 2 * half * math.Sqrt(max(0, explained)*t.inflation) / rest
}

// leastFelt is the share of a load of line i from which its loss, in the longest time
// tested, changes the loads of two lines by redistLeastFelt and adds redistLeastGain to one.
func (b *Berth) leastFelt(i int, load float64) float64 {
	t := maxHorizon*stepPeriod - redistLag
	move := b.lossAccel(i, load)
	for m := range move {
		move[m] *= t * t / 2
	}
	move = b.atFace(move)
	var first, second float64
	for k := range b.state.Lines {
		if b.state.Lines[k].Fit.Weight > 0 {
			change := math.Abs(b.loadChange(k, &move)) / b.plan.Lines[k].MBLkN
			first, second = max(first, change), max(second, min(first, change))
		}
	}
	return max(redistLeastFelt/second, redistLeastGain/max(0, b.mostGained(&move)))
}
