package detect

// record is where the ship was and what pushed her, in means of two seconds, for
// as long as a retrial looks back. Metres and m/s².
type record struct {
	Count int64 // spans ever, since her place was last not known
	Kept  [recordKept]span
	Sum   span // of the looks of the present span
	Looks int32
	Last  [modes]float64 // place of the last look
}

// span is two seconds of the record.
type span struct {
	Place [modes]float64
	Push  [pushes][modes]float64
}

const (
	recordKept  = 256 // spans
	spanLooks   = 4
	spanSeconds = spanLooks * lookTime
	spanTicks   = spanLooks * lookEvery
)

// note takes a look on the record. A line on retrial goes in with what it would
// pull if it still held.
func (b *Berth) note(now moment, at *beheld) {
	r := &b.state.Motion.Record
	mass := b.masses()
	push := at.Push
	var went [modes]float64
	for k := range went {
		went[k] = at.Place[k] - r.Last[k]
	}
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if l.Part.Fell == 0 {
			continue
		}
		l.Part.Held += b.draws(i, &went)
		for k := range modes {
			push[ofLines][k] += (l.Part.Held - l.Pull) * b.levers[i].Pull[k] / mass[k]
		}
	}
	r.Last = at.Place
	r.add(&at.Place, &push, spanEnds(now.Tick))
}

// spanEnds reports whether a span ends with a tick.
func spanEnds(tick int64) bool { return (tick+1)%spanTicks == 0 }

// add takes a look into the present span, which ends with it where last is true.
func (r *record) add(place *[modes]float64, push *[pushes][modes]float64, last bool) {
	for k := range modes {
		r.Sum.Place[k] += place[k] / spanLooks
		for p := range pushes {
			r.Sum.Push[p][k] += push[p][k] / spanLooks
		}
	}
	r.Looks++
	if !last {
		return
	}
	if r.Looks == spanLooks {
		r.Kept[r.Count%recordKept] = r.Sum
		r.Count++
	}
	r.Sum, r.Looks = span{}, 0
}

// begin anew, her place not known.
func (r *record) begin() { r.Count, r.Sum, r.Looks = 0, span{}, 0 }

// ago is the span that ended n spans before the newest.
func (r *record) ago(n int64) *span { return &r.Kept[(r.Count-1-n)%recordKept] }

// amend adds a push of the lines to the look that ended with a tick.
func (r *record) amend(now moment, tick int64, push *[modes]float64) {
	at := &r.Sum
	if ago := (now.Tick+1)/spanTicks - 1 - tick/spanTicks; ago >= 0 {
		if ago >= r.Count {
			return
		}
		at = r.ago(ago)
	} else if r.Looks == 0 {
		return
	}
	for k := range modes {
		at.Push[ofLines][k] += push[k] / spanLooks
	}
}
