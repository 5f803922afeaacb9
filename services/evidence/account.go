package evidence

import (
	"encoding/json"
	"math"
	"time"

	"hawser/detect"
	"hawser/services/caution"
)

const stamp = "2006-01-02T15:04:05.000Z"

// Account is what an alarm was told on. Loads in kN are means of the good
// readings over ten seconds, before the onset and at the end of what is shown.
// What is not known is null.
type Account struct {
	Berth     string     `json:"berth"`
	Ship      string     `json:"ship"`
	Condition string     `json:"condition"`
	Priority  string     `json:"priority"`
	Line      *string    `json:"line"`
	Group     *string    `json:"group"`
	Onset     *string    `json:"onset"`
	Said      string     `json:"said"`
	Detail    string     `json:"detail"`
	Value     *float64   `json:"value"`
	Limit     *float64   `json:"limit"`
	Unit      string     `json:"unit"`
	Statistic *Statistic `json:"statistic"`
	Fit       *Fit       `json:"fit"`
	Before    Span       `json:"before"`
	After     Span       `json:"after"`
	Lines     []Line     `json:"lines"`
	Caution   string     `json:"caution"`
}

// Statistic is what decided, as it stood when the alarm was told.
type Statistic struct {
	What      string   `json:"what"`
	Unit      string   `json:"unit"`
	Value     *float64 `json:"value"`
	Threshold *float64 `json:"threshold"`
	Told      string   `json:"told"` // "at or over" or "under" the threshold
}

// Fit is the ship's place by the loads when the alarm was told, in the plan's
// frame, against her usual place of the last minutes.
type Fit struct {
	SurgeM *float64 `json:"surge_m"`
	SwayM  *float64 `json:"sway_m"`
	YawDeg *float64 `json:"yaw_deg"`
}

// Span is the time a mean is taken over: from, up to and without to.
type Span struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// Line is what one line did.
type Line struct {
	ID       string   `json:"line"`
	Group    string   `json:"group"`
	Role     string   `json:"role"` // "concerned", "same group" or "other"
	MBL      float64  `json:"mbl_kN"`
	Limit    float64  `json:"working_load_limit_kN"`
	Before   *float64 `json:"before_kN"`
	After    *float64 `json:"after_kN"`
	Change   *float64 `json:"change_kN"`
	Said     *float64 `json:"said_kN"`     // when the alarm was told, by the detectors
	Expected *float64 `json:"expected_kN"` // then, by the other lines
	Residual *float64 `json:"residual_kN"`
	Usual    *float64 `json:"usual_residual_kN"`
	// Paid out before and when told, and the brake then: "set" or "released".
	PaidOutBefore *float64 `json:"paid_out_before_m"`
	PaidOutSaid   *float64 `json:"paid_out_said_m"`
	Brake         *string  `json:"brake"`
}

// account puts together what is known of an alarm.
func (r *Recorder) account(c *detect.Change) *Account {
	a := &Account{
		Berth: r.plan.Berth, Ship: r.plan.Ship.Name,
		Condition: c.Condition.String(), Priority: c.Condition.Priority().String(),
		Said: at(c.Time), Detail: c.Detail, Value: number(c.Value), Unit: c.Unit, Caution: caution.Full,
	}
	if c.Line != "" {
		a.Line = &c.Line
	}
	if c.Group != 0 {
		g := c.Group.String()
		a.Group = &g
	}
	if c.HasLimit {
		a.Limit = number(c.Limit)
	}
	from, to := r.window(c)
	began := c.Time
	if c.Onset != 0 {
		o := at(c.Onset)
		a.Onset, began = &o, c.Onset
	}
	began = max(began, from+mean)
	a.Before, a.After = Span{at(began - mean), at(began)}, Span{at(to - mean), at(to)}

	line := r.plan.Line(c.Line)
	said := look{}
	r.ticks.between(c.Time, c.Time, func(l *look) { said = *l })
	if f, ok := said.figure(c.By, line, c.Group); ok {
		told := "at or over"
		if c.By.Below() {
			told = "under"
		}
		a.Statistic = &Statistic{What: c.By.String(), Unit: c.By.Unit(), Value: number(f.value), Threshold: number(f.threshold), Told: told}
	}
	if said.fitted {
		a.Fit = &Fit{number(said.surge), number(said.sway), number(said.yaw * 180 / math.Pi)}
	}
	for i := range r.plan.Lines {
		l := r.lineAccount(i, c, began, to)
		if i < len(said.lines) {
			s := said.lines[i]
			l.Said, l.Expected, l.Residual, l.Usual = number(s.Load), number(s.Expected), number(s.Residual), number(s.Noise)
		}
		a.Lines = append(a.Lines, l)
	}
	return a
}

func (r *Recorder) lineAccount(i int, c *detect.Change, began, to int64) Line {
	p, t := &r.plan.Lines[i], &r.lines[i]
	l := Line{ID: p.ID, Group: p.Group.String(), Role: "other", MBL: p.MBLkN, Limit: r.plan.WorkingLoadKN(i)}
	switch {
	case p.ID == c.Line:
		l.Role = "concerned"
	case p.Group == c.Group:
		l.Role = "same group"
	}
	before, later := t.tension.mean(began-mean, began), t.tension.mean(to-mean, to)
	l.Before, l.After, l.Change = number(before), number(later), number(later-before)
	l.PaidOutBefore, l.PaidOutSaid = number(t.payout.last(began)), number(t.payout.last(c.Time))
	if b := t.brake.last(c.Time); !math.IsNaN(b) {
		word := "set"
		if b < 0.5 {
			word = "released"
		}
		l.Brake = &word
	}
	return l
}

func (a *Account) marshal() ([]byte, error) {
	p, err := json.MarshalIndent(a, "", "  ")
	return append(p, '\n'), err
}

// number is a figure to the thousandth, nil where it is none.
func number(v float64) *float64 {
	if !known(v) {
		return nil
	}
	v = math.Round(v*1000)/1000 + 0 // never minus zero
	return &v
}

func at(t int64) string { return time.Unix(0, t).UTC().Format(stamp) }

// known reports whether v is a number.
func known(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
