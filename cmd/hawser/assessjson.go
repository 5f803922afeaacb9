package main

import (
	"math"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/services/caution"
)

// assessmentJSON is the JSON of hawser assess. Its first fields are fixed: other
// programs read them. Loads are kN, shares fractions of ship design MBL. The
// displacement is of the ship's centre from the plan's reference, in the plan's
// frame, yaw from +x toward +y. What is not known or not reached is null.
type assessmentJSON struct {
	Converged    bool              `json:"converged"`
	Displacement *displacementJSON `json:"displacement"`
	Lines        []lineJSON        `json:"lines"`
	Fenders      []fenderJSON      `json:"fenders"`
	Without      []withoutJSON     `json:"without"`
	WeatherLimit []windLimitJSON   `json:"weather_limit"`

	Berth      string         `json:"berth"`
	Conditions conditionsJSON `json:"conditions"`
	// Force is the whole force on the ship, Unbalanced the part of it that measured
	// loads asked for; moments are about the centre.
	Force      forceJSON  `json:"force"`
	Unbalanced *forceJSON `json:"unbalanced,omitempty"`
	Centre     pointJSON  `json:"centre"`
	// Told is what the detectors tell of the lines where loads are a recording's.
	Told *toldJSON `json:"told,omitempty"`
	// Holds says that nothing gives; Renders and Cascade are what does, in order.
	Holds   bool     `json:"holds"`
	Renders []string `json:"renders"`
	Cascade []string `json:"cascade"`
	// HeldShare and HeldForce are what can be held where there is no equilibrium.
	HeldShare *float64     `json:"held_share,omitempty"`
	HeldForce *forceJSON   `json:"held_force,omitempty"`
	Tending   *tendingJSON `json:"tending,omitempty"`
	Ahead     *aheadJSON   `json:"ahead,omitempty"`
	Motion    *motionJSON  `json:"motion,omitempty"`
	Caution   string       `json:"caution"`
}

// toldJSON has the lines that have parted, or are taken for the one that has; those
// that may be it instead; and those that have slipped or whose load pins are at fault.
type toldJSON struct {
	Parted        []string `json:"parted"`
	MayHaveParted []string `json:"may_have_parted"`
	Slipped       []string `json:"slipped"`
	PinAtFault    []string `json:"pin_at_fault"`
}

type displacementJSON struct {
	SurgeM float64 `json:"surge_m"`
	SwayM  float64 `json:"sway_m"`
	YawDeg float64 `json:"yaw_deg"`
}

type lineJSON struct {
	Line       string  `json:"line"`
	TensionKN  float64 `json:"tension_kN"`
	ShareOfMBL float64 `json:"share_of_mbl"`
	Limit      string  `json:"limit"`
	Group      string  `json:"group"`
	LowKN      float64 `json:"low_kN"`
	HighKN     float64 `json:"high_kN"`
	WorkingKN  float64 `json:"working_load_kN"`
	// What the line would let go: energy, and a bound of its recoil, null where the
	// plan has no diameter. A hazard, never a distance.
	EnergyKJ float64  `json:"energy_kJ"`
	RecoilMS *float64 `json:"recoil_bound_m_per_s"`
}

type fenderJSON struct {
	XM      float64 `json:"x_m"`
	ForceKN float64 `json:"force_kN"`
}

type withoutJSON struct {
	Lost    []string          `json:"lost"`
	Worst   *worstJSON        `json:"worst"`
	Cascade []string          `json:"cascade"`
	Renders []string          `json:"renders"`
	Holds   bool              `json:"holds"`
	At      *displacementJSON `json:"displacement"`
	// TensionKN is every line's load with the rest holding, by the order of the
	// plan's lines.
	TensionKN []float64 `json:"tension_kN"`
}

type worstJSON struct {
	Line       string  `json:"line"`
	ShareOfMBL float64 `json:"share_of_mbl"`
	TensionKN  float64 `json:"tension_kN"`
	LowKN      float64 `json:"low_kN"`
	HighKN     float64 `json:"high_kN"`
	Limit      string  `json:"limit"`
}

type windLimitJSON struct {
	FromDeg    float64  `json:"from_deg"`
	WindKnots  *float64 `json:"wind_knots"`
	Line       *string  `json:"line"`
	BrakeKnots *float64 `json:"brake_knots"`
	BrakeLine  *string  `json:"brake_line"`
	FailsKnots *float64 `json:"fails_knots"`
	FailsLine  *string  `json:"fails_line"`
}

type conditionsJSON struct {
	WindKnots    *float64 `json:"wind_knots"` // null for a wind that nobody tells
	WindFromDeg  *float64 `json:"wind_from_deg"`
	CurrentKnots float64  `json:"current_knots"`
	CurrentToDeg float64  `json:"current_to_deg"`
	LevelM       float64  `json:"level_m"`
	DraftFwdM    float64  `json:"draft_fwd_m"`
	DraftAftM    float64  `json:"draft_aft_m"`
	Loads        string   `json:"loads"`
}

type forceJSON struct {
	SurgeKN float64 `json:"surge_kN"`
	SwayKN  float64 `json:"sway_kN"`
	YawKNm  float64 `json:"yaw_kNm"`
}

type pointJSON struct {
	XM float64 `json:"x_m"`
	YM float64 `json:"y_m"`
}

type tendingJSON struct {
	Settles bool              `json:"settles"`
	Actions []actionJSON      `json:"actions"`
	Left    map[string]string `json:"left"` // line to concern
}

type actionJSON struct {
	Line    string  `json:"line"`
	Do      string  `json:"do"` // heave, pay-out
	MetresM float64 `json:"metres"`
	FromKN  float64 `json:"from_kN"`
	ToKN    float64 `json:"to_kN"`
	On      string  `json:"on"` // winch, bitts
}

type aheadJSON struct {
	Steps []aheadStepJSON `json:"steps"`
	Lines []aheadLineJSON `json:"lines"`
	Tend  []aheadTendJSON `json:"tend"`
}

type aheadStepJSON struct {
	Time   time.Time `json:"time"`
	LevelM float64   `json:"level_m"`
	// TensionKN is by the order of the plan's lines, null without equilibrium.
	TensionKN []float64 `json:"tension_kN"`
}

type aheadLineJSON struct {
	Line          string     `json:"line"`
	LowKN         *float64   `json:"low_kN"`
	HighKN        *float64   `json:"high_kN"`
	HighAt        *time.Time `json:"high_at"`
	ApproachingAt *time.Time `json:"approaching_at"`
	WorkingLoadAt *time.Time `json:"working_load_at"`
	BrakeAt       *time.Time `json:"brake_at"`
	SlackAt       *time.Time `json:"slack_at"`
}

type aheadTendJSON struct {
	Line    string    `json:"line"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
	Limit   string    `json:"limit"` // the furthest it comes to, and when it first does
	LimitAt time.Time `json:"limit_at"`
}

type motionJSON struct {
	Work   string  `json:"work"`
	SurgeM float64 `json:"surge_m"`
	SwayM  float64 `json:"sway_m"`
	YawDeg float64 `json:"yaw_deg"`
	Limits struct {
		SurgeM *float64 `json:"surge_m"`
		SwayM  *float64 `json:"sway_m"`
		YawDeg *float64 `json:"yaw_deg"`
	} `json:"limits"`
	Within bool `json:"within"`
}

// assessForm is the JSON form of an answer.
func assessForm(q *question, a *assess.Answer) *assessmentJSON {
	cx, cy := q.plan.Centre()
	out := &assessmentJSON{
		Converged: a.Found, Lines: []lineJSON{}, Fenders: []fenderJSON{}, Without: []withoutJSON{},
		WeatherLimit: []windLimitJSON{}, Berth: q.plan.Berth, Force: forceForm(q.Mooring.Force(q.Conditions)),
		Centre: pointJSON{cx, cy}, Holds: a.Intact.Holds, Renders: q.ids(a.Intact.Renders), Cascade: q.ids(a.Intact.Cascade),
		Conditions: conditionsJSON{CurrentKnots: q.current.knots,
			CurrentToDeg: q.current.deg, LevelM: q.waters.LevelM, DraftFwdM: q.waters.DraftFwdM, DraftAftM: q.waters.DraftAftM, Loads: q.source},
		Caution: caution.Full,
	}
	if !q.untold() {
		out.Conditions.WindKnots, out.Conditions.WindFromDeg = &q.wind.knots, &q.wind.deg
	}
	if q.Measured {
		left := forceForm(q.left)
		out.Unbalanced = &left
	}
	if h := &q.heard; len(h.Parted)+len(h.Maybe)+len(h.Slipped)+len(h.AtFault) > 0 {
		out.Told = &toldJSON{q.ids(h.Parted), q.ids(h.Maybe), q.ids(h.Slipped), q.ids(h.AtFault)}
	}
	if !a.Found {
		held := forceForm(a.HeldForce)
		out.HeldShare, out.HeldForce = &a.HeldShare, &held
		return out
	}
	out.Displacement = displacement(a.State.Pose)
	for i, kN := range a.State.TensionKN {
		out.Lines = append(out.Lines, q.lineForm(a, i, kN))
	}
	for i, kN := range a.State.FenderKN {
		out.Fenders = append(out.Fenders, fenderJSON{q.plan.Fenders[i].XM, kN})
	}
	for i := range a.Losses {
		out.Without = append(out.Without, q.withoutForm(&a.Losses[i]))
	}
	for _, w := range a.Wind {
		out.WeatherLimit = append(out.WeatherLimit, q.windForm(w))
	}
	out.Tending = q.tendingForm(a.Advice)
	if a.Outlook != nil {
		out.Ahead = q.aheadForm(a.Outlook)
	}
	if a.Motion != nil {
		out.Motion = motionForm(q.Work, *a.Motion)
	}
	return out
}

func forceForm(f mooring.Force) forceJSON { return forceJSON{f.SurgeKN, f.SwayKN, f.YawKNm} }

func displacement(p mooring.Pose) *displacementJSON {
	return &displacementJSON{p.SurgeM, p.SwayM, degrees(p.YawRad)}
}

func (q *question) lineForm(a *assess.Answer, i int, kN float64) lineJSON {
	l := &q.plan.Lines[i]
	out := lineJSON{Line: l.ID, TensionKN: kN, ShareOfMBL: kN / l.MBLkN, Limit: q.Mooring.Limit(i, kN).String(),
		Group: l.Group.String(), LowKN: a.Spread.LowKN[i], HighKN: a.Spread.HighKN[i], WorkingKN: q.plan.WorkingLoadKN(i)}
	stored := q.Mooring.Stored(&a.State, i)
	out.EnergyKJ = stored.EnergyKJ()
	if speed, ok := stored.RecoilMS(); ok {
		out.RecoilMS = &speed
	}
	return out
}

// ids are the names of lines; empty rather than null in JSON.
func (q *question) ids(lines []int) []string {
	out := []string{}
	for _, i := range lines {
		out = append(out, q.plan.Lines[i].ID)
	}
	return out
}

func (q *question) withoutForm(l *assess.Loss) withoutJSON {
	out := withoutJSON{Lost: q.ids(l.Lost), Cascade: q.ids(l.Cascade), Renders: q.ids(l.Renders), Holds: l.Holds}
	if l.Found {
		kN := l.First.TensionKN[l.Worst]
		out.Worst = &worstJSON{q.plan.Lines[l.Worst].ID, q.Mooring.Share(&l.First, l.Worst), kN, l.WorstLowKN, l.WorstHighKN, q.Mooring.Limit(l.Worst, kN).String()}
		out.At, out.TensionKN = displacement(l.First.Pose), l.First.TensionKN
	}
	return out
}

func (q *question) windForm(w assess.WindLimit) windLimitJSON {
	out := windLimitJSON{FromDeg: w.FromDeg}
	out.WindKnots, out.Line = q.threshold(w.Working)
	out.BrakeKnots, out.BrakeLine = q.threshold(w.Brake)
	out.FailsKnots, out.FailsLine = q.threshold(w.Fails)
	return out
}

func (q *question) threshold(t assess.Threshold) (knots *float64, id *string) {
	knots = finite(t.SpeedMS / msPerKnot)
	if t.Line >= 0 {
		id = &q.plan.Lines[t.Line].ID
	}
	return knots, id
}

func (q *question) tendingForm(a *assess.Advice) *tendingJSON {
	out := &tendingJSON{Settles: a.Settles(), Actions: []actionJSON{}, Left: map[string]string{}}
	for _, x := range a.Actions {
		l := &q.plan.Lines[x.Line]
		out.Actions = append(out.Actions, actionJSON{l.ID, doing(&x), math.Abs(x.PayOut), x.FromKN, x.ToKN, l.MadeFast.String()})
	}
	for i, c := range a.Concerns {
		if c != assess.None {
			out.Left[q.plan.Lines[i].ID] = c.String()
		}
	}
	return out
}

// doing is the word for an action.
func doing(a *assess.Action) string {
	if a.PayOut > 0 {
		return "pay-out"
	}
	return "heave"
}

func (q *question) aheadForm(o *assess.Outlook) *aheadJSON {
	out := &aheadJSON{Steps: []aheadStepJSON{}, Lines: []aheadLineJSON{}, Tend: []aheadTendJSON{}}
	for k, loads := range o.TensionKN {
		out.Steps = append(out.Steps, aheadStepJSON{o.Moments[k].At, o.Moments[k].LevelM, loads})
	}
	for i := range o.Lines {
		l := &o.Lines[i]
		out.Lines = append(out.Lines, aheadLineJSON{q.plan.Lines[i].ID, finite(l.LowKN), finite(l.HighKN), given(l.HighAt),
			given(l.ApproachAt), given(l.WorkingAt), given(l.BrakeAt), given(l.SlackAt)})
	}
	for _, t := range o.Tend {
		word := t.Reason.String()
		if t.Reason == assess.Below {
			word = "slack"
		}
		out.Tend = append(out.Tend, aheadTendJSON{q.plan.Lines[t.Line].ID, t.From, t.To, word, t.ReachedAt})
	}
	return out
}

// finite is a number for JSON, null where there is none.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

func given(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func motionForm(w assess.Work, m assess.Motion) *motionJSON {
	c := w.Criterion()
	out := &motionJSON{Work: w.String(), SurgeM: m.SurgeM, SwayM: m.SwayM, YawDeg: m.YawDeg, Within: m.Within(c)}
	out.Limits.SurgeM, out.Limits.SwayM, out.Limits.YawDeg = finite(c.SurgeM), finite(c.SwayM), finite(c.YawDeg)
	return out
}
