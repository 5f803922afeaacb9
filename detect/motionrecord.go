package detect

// record is where the ship was and what pushed her, in means of two seconds, for
// as long as a retrial looks back. Metres and m/s².
type motionRecord struct {
	Count   int64 // spans ever, since her place was last not known
	Kept    [recordKept]span
	Sum     span // of the looks of the present span
	Steps   int32
	LastPos [modes]float64 // place of the last look
}

// span is two seconds of the record.
type span struct {
	Pos     [modes]float64
	Forcing [forcings][modes]float64
}

const (
	recordKept  = 256 // spans
	spanSteps   = 4
	spanSeconds = spanSteps * stepPeriod
	spanTicks   = spanSteps * stepTicks
)

// note takes a look on the record. A line on retrial goes in with what it would
// pull if it still held.
func (b *Berth) recordStep(now moment, at *stepState) {
	r := &b.state.Motion.Record
	mass := b.masses()
	push := at.Forcing
	var went [modes]float64
	for k := range went {
		went[k] = at.Pos[k] - r.LastPos[k]
	}
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if l.Parting.FellAt == 0 {
			continue
		}
		l.Parting.HoldingPull += b.loadChange(i, &went)
		for k := range modes {
			push[forceLines][k] += (l.Parting.HoldingPull - l.Pull) * b.models[i].Pull[k] / mass[k]
		}
	}
	r.LastPos = at.Pos
	r.add(&at.Pos, &push, spanEnds(now.Tick))
}

// spanEnds reports whether a span ends with a tick.
func spanEnds(tick int64) bool { return (tick+1)%spanTicks == 0 }

// add takes a look into the present span, which ends with it where last is true.
func (r *motionRecord) add(place *[modes]float64, push *[forcings][modes]float64, last bool) {
	for k := range modes {
		r.Sum.Pos[k] += place[k] / spanSteps
		for p := range forcings {
			r.Sum.Forcing[p][k] += push[p][k] / spanSteps
		}
	}
	r.Steps++
	if !last {
		return
	}
	if r.Steps == spanSteps {
		r.Kept[r.Count%recordKept] = r.Sum
		r.Count++
	}
	r.Sum, r.Steps = span{}, 0
}

// begin anew, her place not known.
func (r *motionRecord) reset() { r.Count, r.Sum, r.Steps = 0, span{}, 0 }

// ago is the span that ended n spans before the newest.
func (r *motionRecord) ago(n int64) *span { return &r.Kept[(r.Count-1-n)%recordKept] }

// amend adds a push of the lines to the look that ended with a tick.
func (r *motionRecord) amend(now moment, tick int64, push *[modes]float64) {
	at := &r.Sum
	if ago := (now.Tick+1)/spanTicks - 1 - tick/spanTicks; ago >= 0 {
		if ago >= r.Count {
			return
		}
		at = r.ago(ago)
	} else if r.Steps == 0 {
		return
	}
	for k := range modes {
		at.Forcing[forceLines][k] += push[k] / spanSteps
	}
}
