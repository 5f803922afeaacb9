package assess

import (
	"math"
	"time"
)

// Outlook is the mooring over the hours ahead, with wind and current as given
// and no winch touched.
type Outlook struct {
	Moments   []Moment
	TensionKN [][]float64 // by moment, then line; nil where the ship has no rest
	Lines     []LineOutlook
	Tend      []Tend // in order of time
}

// LineOutlook is what one line comes to. A time is zero where it does not come.
type LineOutlook struct {
	LowKN, HighKN float64
	LowAt, HighAt time.Time
	ApproachAt    time.Time // first at the approach load
	WorkingAt     time.Time // first at the working load limit
	BrakeAt       time.Time // first at the brake's rendering load
	SlackAt       time.Time // first slack while the rest of its group hold
}

// Tend is a span of time in which a line needs tending.
type Tend struct {
	Line     int
	From, To time.Time
	// Reason is Approaching or beyond, the furthest reached; Below for a line that
	// hangs slack.
	Reason Limit
	// ReachedAt is when it first comes to Reason; From for a line that hangs slack.
	ReachedAt time.Time
}

// Ahead follows the mooring over moments in order of time, at most a few
// thousand. Times between moments are by a straight line.
func (m *Mooring) Ahead(c Conditions, moments []Moment) Outlook {
	out := Outlook{Moments: moments, TensionKN: make([][]float64, len(moments)),
		Lines: make([]LineOutlook, len(m.plan.Lines))}
	r, from := m.rest(), c.start()
	for k, at := range moments {
		from.RiseFwdM, from.RiseAftM = at.RiseFwdM, at.RiseAftM
		c.DraftM, c.DepthM = at.DraftM, at.DepthM
		s, err := r.still(m.Force(c), m.lengths, from)
		if err != nil {
			continue
		}
		from, out.TensionKN[k] = s.Pose, s.TensionKN
	}
	for i := range out.Lines {
		m.follow(&out, i)
	}
	m.tending(&out)
	return out
}

// follow reads one line's loads through the hours.
func (m *Mooring) follow(o *Outlook, i int) {
	l := &o.Lines[i]
	l.LowKN, l.HighKN = math.Inf(1), math.Inf(-1)
	b := &m.bounds[i]
	for k, loads := range o.TensionKN {
		if loads == nil {
			continue
		}
		at, t := o.Moments[k].At, loads[i]
		if t < l.LowKN {
			l.LowKN, l.LowAt = t, at
		}
		if t > l.HighKN {
			l.HighKN, l.HighAt = t, at
		}
		o.reach(&l.ApproachAt, k, i, m.approach(i))
		o.reach(&l.WorkingAt, k, i, b.working)
		o.reach(&l.BrakeAt, k, i, b.render)
		if l.SlackAt.IsZero() && m.slack(i, loads) {
			l.SlackAt = at
		}
	}
}

// reach notes the first time at which a load comes to a limit.
func (o *Outlook) reach(first *time.Time, k, i int, limit float64) {
	if first.IsZero() && o.TensionKN[k][i] >= limit {
		*first = o.crossing(k, i, limit)
	}
}

// crossing is when line i, at or over a limit at moment k, came to it: that moment
// where it was over at the one before, or nothing is known of that.
func (o *Outlook) crossing(k, i int, limit float64) time.Time {
	at := o.Moments[k].At
	if k == 0 || o.TensionKN[k-1] == nil || o.TensionKN[k-1][i] >= limit {
		return at
	}
	t, was := o.TensionKN[k][i], o.TensionKN[k-1][i]
	return at.Add(-time.Duration(float64(at.Sub(o.Moments[k-1].At)) * (t - limit) / (t - was)))
}

// tending cuts the hours into spans in which lines need work.
func (m *Mooring) tending(o *Outlook) {
	open := make([]int, len(m.plan.Lines)) // index+1 into Tend
	for k, loads := range o.TensionKN {
		for i := range open {
			if loads == nil {
				open[i] = 0
				continue
			}
			reason, slack := m.Limit(i, loads[i]), m.slack(i, loads)
			switch {
			case reason == Below && !slack:
				open[i] = 0
			case open[i] == 0:
				t := Tend{Line: i, From: o.Moments[k].At, To: o.Moments[k].At, Reason: reason}
				if reason != Below {
					t.From = o.crossing(k, i, m.approach(i))
				}
				t.ReachedAt = t.From
				if reason > Approaching {
					t.ReachedAt = o.crossing(k, i, m.limitKN(i, reason))
				}
				o.Tend = append(o.Tend, t)
				open[i] = len(o.Tend)
			default:
				t := &o.Tend[open[i]-1]
				t.To = o.Moments[k].At
				if reason > t.Reason {
					t.Reason, t.ReachedAt = reason, o.crossing(k, i, m.limitKN(i, reason))
				}
			}
		}
	}
}
