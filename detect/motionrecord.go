package detect

// motionRecord is the ship's position and the known forces on her, in means of two
// seconds, for as long as a retest looks back. Metres and m/s².
type motionRecord struct {
	Count   int64 // spans since the position was last unknown
	Kept    [recordKept]span
	Sum     span // of the present span's steps
	Steps   int32
	LastPos [modes]float64 // in the last step
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

// recordStep adds a step. A line under test counts with the pull that it would have
// if it still held.
func (b *Berth) recordStep(now moment, at *stepState) {
	m := &b.state.Motion
	r := &m.Record
	mass := b.masses()
	forcing := at.Forcing
	var move [modes]float64
	for k := range move {
		move[k] = at.Pos[k] - r.LastPos[k]
	}
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if l.Parting.FellAt == 0 {
			continue
		}
		l.Parting.HoldingPull += b.loadChange(i, &move)
		for k := range modes {
			forcing[forceLines][k] += (l.Parting.HoldingPull - l.Pull) * b.models[i].Pull[k] / mass[k]
		}
	}
	r.LastPos = at.Pos
	if !r.add(&at.Pos, &forcing, spanEnds(now.Tick)) {
		return
	}
	for i := range b.state.Lines {
		l, mean := &b.state.Lines[i], 0.0
		for k := range int64(spanSteps) {
			mean += l.OwnChange[(m.Predictors[face].Steps-k+historySteps)%historySteps] / spanSteps
		}
		l.OwnPull[(r.Count-1)%recordKept] = float32(mean)
	}
}

// spanEnds reports whether a span ends with a tick.
func spanEnds(tick int64) bool { return (tick+1)%spanTicks == 0 }

// add takes a step into the present span, which ends with it where last is true, and
// reports whether the span was kept.
func (r *motionRecord) add(pos *[modes]float64, forcing *[forcings][modes]float64, last bool) (kept bool) {
	for k := range modes {
		r.Sum.Pos[k] += pos[k] / spanSteps
		for p := range forcings {
			r.Sum.Forcing[p][k] += forcing[p][k] / spanSteps
		}
	}
	r.Steps++
	if !last {
		return false
	}
	if kept = r.Steps == spanSteps; kept {
		r.Kept[r.Count%recordKept] = r.Sum
		r.Count++
	}
	r.Sum, r.Steps = span{}, 0
	return kept
}

// reset empties the record: the position is unknown.
func (r *motionRecord) reset() { r.Count, r.Sum, r.Steps = 0, span{}, 0 }

// ago is the span that ended n spans before the newest.
func (r *motionRecord) ago(n int64) *span { return &r.Kept[(r.Count-1-n)%recordKept] }

// amend adds an acceleration by the lines to the step that ended with a tick.
func (r *motionRecord) amend(now moment, tick int64, accel *[modes]float64) {
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
		at.Forcing[forceLines][k] += accel[k] / spanSteps
	}
}

// retestWindow is the part of the record that a fall is tested on.
type retestWindow struct {
	end       int64 // tick at which the record ends
	sinceFall int64 // spans since the fall
	spans     int64 // in all
	before    int   // rows before the fall
}

// rows is how many spans have a neighbour on either side.
func (w *retestWindow) rows() int { return int(w.spans) - 2 }

// spanAgo is the span of row t, counted back from the newest.
func (w *retestWindow) spanAgo(t int) int64 { return w.spans - 2 - int64(t) }

// windowOf is the window for a fall that began at a tick.
func (b *Berth) windowOf(now moment, fellAt int64) retestWindow {
	w := retestWindow{end: (now.Tick + 1) / spanTicks * spanTicks}
	w.sinceFall = (w.end - fellAt + spanTicks - 1) / spanTicks
	w.spans = min(b.state.Motion.Record.Count, recordKept, w.sinceFall+maxSpansBefore)
	w.before = int(w.spans-w.sinceFall) - 2
	return w
}

// shareAfter is how much of the span that ended n spans before the newest lies after
// a tick, 0 to 1.
func (w *retestWindow) shareAfter(n, tick int64) float64 {
	return min(max(float64(w.end-n*spanTicks-tick)/spanTicks, 0), 1)
}
