package detect

import (
	"fmt"

	"hawser/detect/mooring"
)

// redistribution detects a parting that no pin shows: a line without a load pin, or
// with its pin at fault, lets go, and the only evidence is how the ship moves. The loss
// of one line's pull has a signature of its own: she moves off, ahead or astern, and
// swings about a point that depends on where the line led, ever further with the square
// of the time. Every half-second step two tests are made for the loss of each such line:
//
//	how far       the prediction errors (see predictor) from 2, 3.5, 5.5, 8 and 12 s
//	              ago until now hold the signature, and not a share of what the wind's
//	              change did
//	how suddenly  the innovations (see innovations) of the last 12 s show that her
//	              acceleration changed at once
//
// Each is a log-likelihood ratio of the loss, of between 0.4 and 1.5 of the line's
// estimated load, against ordinary disturbances, the push of the fenders being known (see
// contact); after a minute, or some seconds before, wilder than usual it counts for less.
// A gust may pass for a loss in either test, seldom in both. So a loss is raised by their
// sum if both speak for it (redistLeastFar, redistLeastSudden), and no line of another
// group is likelier to have let go. All of these must hold as well:
//
//	free      her end there did not come in upon the fenders, which push her off as a loss
//	          does. Where it did, 0.5 standard deviations or more inside its mean position, or
//	          had in the last 6 s and the log-likelihood ratio has not grown by 8 since, 1.6
//	          times that ratio is asked for, and a push of less than 1.2 of the load: fenders
//	          mostly push harder. From 1.2 standard deviations inside nothing is told
//	felt      the prediction error changes the loads of two lines by 0.005 of MBL at least,
//	          and adds 0.004 to one: somebody takes up the load
//	at once   now or within the last 3 s no push that builds up steadily, as that of a squall
//	          does, explained the innovations much better: by a log-likelihood ratio of 3, or
//	          of 2 where no wind is measured
//	one pull  the loss explains at least three quarters of what a step change of any force
//	          would explain of the innovations: gusts seldom push her just as a line would
//	settled   the position has been known for six minutes, and no line has parted in the
//	          last 20 s: what the ship then does is not quite what is reckoned of it. Within two
//	          minutes of a parting or a slip 1.6 times the log-likelihood ratio is asked for
//	no hands  no brake was off in the last minute: a crew that works its way along the deck
//	          may be at a line without a pin. Within four minutes it may still, and 2.4 times
//	          the log-likelihood ratio is asked for
//	no cause  no measured line changed by itself, other than by the ship's movement, by
//	          0.4 of that load or more in the last 16 s: the cause would then be known
//
// Raised for the group of the line. What has let go does not hold again by itself, so it
// stands until the watch is stood down or somebody says that the line holds (Release);
// from 10 min on it may be told anew, of another line of that group. Source: Newton's
// second law. The sum is not of independent tests, and gusts are not normal noise, so no
// run length can be computed for it. The ratios, the fit, what must be felt and what is asked
// for against her fenders were chosen to tell the most partings for no more false alarms than
// before, in 4,400 hours of the study drawn at random; in 800 h of others (seeds 1900000 and
// 1910000) 110 of 153 were told, with 3 false alarms in 10,939 line-hours. The rest are
// common practice, no source.
const (
	redistLLR             = 26.0
	redistLLRMeasured     = 20.0 // with the wind measured
	redistLookFar         = 3    // log-likelihood ratio of how far, from which how suddenly is tested
	redistLeastFar        = 7    // and least
	redistLeastSudden     = 9    // of how suddenly, least
	faultyPinFactor       = 1.6  // on the threshold, for a line whose pin is at fault: two faults at once are less likely
	redistMinShare        = 0.4
	redistMaxShare        = 1.5
	redistOwnShare        = 0.4 // of the load
	redistInShare         = 0.5 // of the prediction error; way towards the berth from which she comes in
	redistFenderTicks     = 6 * int64(ticksPerSecond)
	redistByFenders       = 8.0   // log-likelihood ratio by which a loss must have grown since
	redistPushFactor      = 1.6   // on the threshold, where it may be her fenders
	redistPushShare       = 1.2   // of the load, from which a push is rather theirs
	redistNearSD          = 0.5   // standard deviations inside her mean position from which fenders may be near
	redistAgainstSD       = 1.2   // and from which they are
	redistLeastFelt       = 0.005 // of MBL
	redistLeastGain       = 0.004 // of MBL
	redistBuiltUp         = 2.0   // log-likelihood ratio of a push that builds up
	redistBuiltUpMeasured = 3.0   // with the wind measured
	redistFit             = 0.75  // of what a step change of any force explains
	redistSuddenTicks     = 3 * int64(ticksPerSecond)
	redistWindSD          = 0.25 // of the movement by a change of the wind; how well that is predicted
	redistLag             = 0.5  // s; delay of readings and positions, about
	redistHoldSteps       = 2    // in a row
	redistPartedTicks     = 20 * int64(ticksPerSecond)
	redistHandsTicks      = 60 * int64(ticksPerSecond)
	redistLongHandsTicks  = 240 * int64(ticksPerSecond)
	redistHandsFactor     = 2.4 // on the threshold until then
	redistDisturbedFactor = 1.6 // on the threshold within two minutes of a parting or a slip
	redistAgainTicks      = 600 * int64(ticksPerSecond)
	redistMinSteps        = 720 // since the position was last unknown
)

// redistribution tests the lines whose parting no pin shows, once the predictor is
// settled.
func (b *Berth) redistribution(now moment) {
	if stepEnds(now) && b.looksForUnseen(now) {
		b.testUnseen(now)
	}
}

// looksForUnseen reports whether a parting that no pin shows can be told from how the
// ship moves now.
func (b *Berth) looksForUnseen(now moment) bool {
	pr := b.predictor()
	return pr.Steps >= redistMinSteps && pr.Count >= minErrorCount && pr.Innovations.Count >= minInnovations &&
		!b.partedWithin(now, redistPartedTicks) && !b.state.Watch.Off && !b.state.Watch.Working && !b.handledWithin(now, redistHandsTicks)
}

// testUnseen tests the loss of a line in each group, and raises the likeliest.
func (b *Berth) testUnseen(now moment) {
	var moves whitenedErrors
	var recent whitenedInnovations
	best, line, horizon := 0.0, -1, 0
	for g := range b.state.Unseen {
		u := &b.state.Unseen[g]
		if u.RaisedAt != 0 && now.Tick-u.RaisedAt < redistAgainTicks {
			continue
		}
		i := b.unseenLine(mooring.Group(g))
		if i < 0 {
			continue
		}
		load, ok := b.likelyLoad(now, i)
		if !ok {
			continue
		}
		if moves.inflation[0] == 0 {
			moves = b.recentErrors()
		}
		over, at := b.testLoss(now, i, load, &moves, &recent)
		if over == 0 {
			u.Steps = 0
			continue
		}
		u.Steps++
		if over > best {
			best, line, horizon = over, i, at
		}
	}
	if line >= 0 && b.state.Unseen[b.plan.Lines[line].Group].Steps >= redistHoldSteps {
		b.raiseRedistribution(now, line, horizon)
	}
}

// testLoss tests the loss of line i with this load: how many times its threshold the
// log-likelihood ratio is, 0 where that is too little or something else may be the cause,
// and the index of the likeliest horizon since.
func (b *Berth) testLoss(now moment, i int, load float64, moves *whitenedErrors, recent *whitenedInnovations) (over float64, horizon int) {
	g := b.plan.Lines[i].Group
	u := &b.state.Unseen[g]
	loss := b.findLoss(i, load, moves, recent)
	threshold, mostBuiltUp := b.lossThresholds(now, i)
	free := true
	if inside := b.cameIn(i, loss.horizon); u.pushedOff(now, inside > redistNearSD, loss.llr()) {
		threshold *= redistPushFactor
		free = inside < redistAgainstSD && loss.sudden.Share < redistPushShare
	}
	llr := 0.0
	if loss.both() {
		llr = loss.llr()
	}
	b.reportGroup(UnseenLLR, g, llr, threshold)
	if llr < threshold || !free || b.ownChangeOver(redistOwnShare*load) {
		return 0, loss.horizon
	}
	accel := b.lossAccel(i, load)
	if recent.builtUp(accel, loss.sudden) < mostBuiltUp {
		u.SuddenAt = now.Tick
	}
	if now.Tick-u.SuddenAt > redistSuddenTicks || recent.fitsLoss(accel, loss.sudden) < redistFit || !b.felt(loss.horizon) {
		return 0, loss.horizon
	}
	return llr / threshold, loss.horizon
}

// raiseRedistribution raises the loss of line i over a horizon.
func (b *Berth) raiseRedistribution(now moment, i, horizon int) {
	gain := b.mostGained(b.unexplainedMove(horizon))
	g := b.plan.Lines[i].Group
	u := &b.state.Unseen[g]
	u.Steps, u.RaisedAt = 0, now.Tick
	b.state.DisturbedAt, b.state.PartedAt = now.Tick, now.Tick
	took := float64(horizons[horizon]) * stepPeriod
	b.clear(now, -1, Change{Condition: Redistribution, Group: g, Unit: "%",
		Detail: fmt.Sprintf("Another of the %s lines may have let go.", g)}) // a second one is news
	b.raise(now, -1, Change{Condition: Redistribution, By: UnseenLLR, Group: g, Onset: now.Time - int64(took*float64(second)), Value: 100 * gain, Unit: "%",
		Detail: fmt.Sprintf("The ship moved as if one of the %s lines had let go, with up to %.1f %% of MBL more on other lines in %.0f s, and no line with a load pin did; keep clear of the mooring deck and find out whether %s hold.",
			g, 100*gain, took, b.unseenNames(g))})
}
