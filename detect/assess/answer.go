package assess

import "hawser/detect/mooring"

// Question is all that may be asked of a mooring at once.
type Question struct {
	Mooring    *Mooring
	Conditions Conditions
	Measured   bool     // the lines' loads are measured, not the plan's pretensions
	Without    []int    // lose these at once, in place of each line in turn
	Directions int      // to find limits of wind for; 0 for none
	Moments    []Moment // the hours ahead; nil for none
	Tend       bool     // look for tending advice
	Work       Work     // to compare motion with; 0 for none
}

// Answer is what a Question asks for.
type Answer struct {
	// Found says that the ship lies still, as State has it. Where she does not,
	// HeldShare and HeldForce are what the mooring can hold, and nothing else is set.
	Found     bool
	State     State
	HeldShare float64
	HeldForce mooring.Force

	Spread  Spread
	Intact  Loss // nothing lost: what gives by itself
	Losses  []Loss
	Wind    []WindLimit
	Outlook *Outlook
	Advice  *Advice
	Motion  *Motion // nil where gusts leave no rest, too
}

// Answer answers a question.
func (q *Question) Answer() *Answer {
	m, c, a := q.Mooring, q.Conditions, &Answer{}
	state, err := m.Steady(c)
	if err != nil {
		a.HeldShare, a.HeldForce = m.Holds(c)
		return a
	}
	a.Found, a.State = true, state
	a.Spread = m.spread(c, &state, q.Measured)
	a.Intact = m.Lose(c)
	if len(q.Without) > 0 {
		a.Losses = []Loss{m.Lose(c, q.Without...)}
	} else {
		a.Losses = m.LoseEach(c)
	}
	m.spreadLosses(c, a.Losses)
	if q.Directions > 0 {
		a.Wind = m.WindLimits(c, q.Directions)
	}
	if q.Moments != nil {
		o := m.Ahead(c, q.Moments)
		a.Outlook = &o
	}
	if q.Tend {
		advice := m.tend(c, state)
		a.Advice = &advice
	}
	if q.Work != 0 {
		if motion, err := m.Motion(c); err == nil {
			a.Motion = &motion
		}
	}
	return a
}
