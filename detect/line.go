package detect

// line is the state of one line.
type line struct {
	Pin       pin
	Drum      drum
	Handling  handling
	Fit       lineFit
	Stiffness stiffnessRatio
	// Loads and Residuals are of the last ticks, by tick, kN; NaN where not known.
	Loads, Residuals [tickHistory]float64
	// Pull is the line's pull on the ship, as a change since the start, kN; StepLoad
	// its load in the last step, NaN without a pin reading; OwnChange the pull less
	// what the ship's position explains, by step, and OwnPull its mean by span of the
	// motion record, kN.
	Pull, StepLoad float64
	OwnChange      [historySteps]float64
	OwnPull        [recordKept]float32
	MinuteMean     float64 // 60 s mean of the load, kN
	MinuteMeanOK   bool
	Trend          trend
	Overload       latch
	Parting        parting
	Slip           slip
	Health         health
	Expected       expectedRange
	Zero           zero
	Range          rangeRecord
	LoadLoss       loadLoss
	Jerks          jerkRecord
	Snap           snap
	Imbalance      latch
	Slack          latch
	Approach       latch
}

func (l *line) start(mbl float64) {
	l.Pin.MBL, l.Pin.UsualLift = mbl, spikeLeast*mbl/2
	l.Pin.Last, l.StepLoad = missing, missing
	l.Stiffness.Ratio = 1
	l.Slip.reset()
	l.LoadLoss.reset()
	l.Range.reset()
	l.Snap.Slack = snapWithin + 1
	for k := range l.Loads {
		l.Loads[k], l.Residuals[k] = missing, missing
	}
}

// record keeps the tick's load and residual.
func (l *line) record(now moment) {
	k := now.Tick % tickHistory
	l.Loads[k], l.Residuals[k] = missing, missing
	if now.Second {
		l.MinuteMean, l.MinuteMeanOK = l.Pin.mean(60)
	}
	if l.Pin.fresh(now) {
		l.Loads[k] = l.Pin.Last
	}
	if l.Fit.Known && l.Fit.Weight > 0 {
		l.Residuals[k] = l.Fit.Residual
	}
}

// loadAgo is the load n ticks ago, n < tickHistory, kN.
func (l *line) loadAgo(now moment, n int64) float64 { return l.Loads[(now.Tick-n)%tickHistory] }

// restart clears what is counted over time, after a time without any reading.
func (l *line) restart() {
	l.Pin.SecAt, l.Pin.SecSum, l.Pin.SecCount, l.MinuteMeanOK = 0, 0, 0, false
	l.Pin.Tally = [10]tally{}
	for k := range l.Loads {
		l.Loads[k], l.Residuals[k] = missing, missing
	}
	l.StepLoad = missing
	l.Slip.reset()
	l.LoadLoss.reset()
	l.Range.reset()
	l.Trend.Count, l.Trend.Steady, l.Fit.Age = 0, false, 0
	l.Parting.FirstTest, l.Parting.TestSince, l.Parting.FellAt = 0, 0, 0
}
