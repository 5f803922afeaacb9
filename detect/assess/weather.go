package assess

// CeilingMS is the wind at which the search for a limit ends, 120 knots: beyond
// any in which a ship lies alongside.
const CeilingMS = 120 * 1852.0 / 3600

// Threshold is the wind at which something is first reached.
type Threshold struct {
	SpeedMS float64 // +Inf where it is not reached up to CeilingMS
	Line    int     // the line that reaches it; -1 for none by itself
}

// WindLimit is the steady wind from one direction at which the mooring reaches
// its limits.
type WindLimit struct {
	FromDeg float64
	Working Threshold // the first line at its working load limit
	Brake   Threshold // the first at its brake's rendering load, brakes holding
	Fails   Threshold // a line breaks, or the brakes render and nothing holds her
}

// WindLimits is the limits of wind from this many directions evenly about the
// compass, from north. The wind of the conditions is put aside.
func (m *Mooring) WindLimits(c Conditions, directions int) []WindLimit {
	w := windSearch{rest: m.rest(), other: m.butWind(&c)}
	calm := w.at(0, c.start())
	e := m.environment(&c)
	out := make([]WindLimit, directions)
	for i := range out {
		from := 360 * float64(i) / float64(directions)
		w.unit = e.Wind(1, from)
		out[i] = w.limits(from, calm)
	}
	return out
}
