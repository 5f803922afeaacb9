package assess_test

import (
	"math"
	"testing"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

var begin = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// day is moments every five minutes of a semidiurnal tide of 5 m and a ship that
// loads half a metre in that time.
func day(p *mooring.Plan, hours float64) []assess.Moment {
	var out []assess.Moment
	for k := range int(hours*12) + 1 {
		h := float64(k) / 12
		up := 2.5 * (1 - math.Cos(2*math.Pi*h/12.4206))
		draft := (p.Reference.DraftFwdM+p.Reference.DraftAftM)/2 + h/48
		out = append(out, assess.Moment{At: begin.Add(time.Duration(h * float64(time.Hour))), RiseFwdM: up - h/48, RiseAftM: up - h/48, DraftM: draft})
	}
	return out
}

// The hours ahead are the ship at rest at each moment, and a time is where the
// load is at the limit.
func TestAheadIsTheShipAtRestAtEachMoment(t *testing.T) {
	p := shared(t, "tanker-12")
	m := assess.New(p)
	c := assess.Conditions{WindMS: 12, WindFromDeg: 40}
	o := m.Ahead(c, day(p, 24))
	at := func(when time.Time) assess.State {
		h := when.Sub(begin).Hours()
		up := 2.5*(1-math.Cos(2*math.Pi*h/12.4206)) - h/48
		c := c
		c.RiseFwdM, c.RiseAftM = up, up
		c.DraftM = (p.Reference.DraftFwdM+p.Reference.DraftAftM)/2 + h/48
		s, err := m.Steady(c)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for k := 0; k < len(o.Moments); k += 37 {
		s := at(o.Moments[k].At)
		for i, kN := range s.TensionKN {
			near(t, "load", o.TensionKN[k][i], kN, 1e-3)
		}
	}
	reached := 0
	for i, l := range o.Lines {
		for _, r := range []struct {
			at    time.Time
			limit float64
		}{{l.ApproachAt, 0.8 * p.WorkingLoadKN(i)}, {l.WorkingAt, p.WorkingLoadKN(i)}, {l.BrakeAt, p.Lines[i].BrakeRenderKN}} {
			if r.at.IsZero() {
				if l.HighKN >= r.limit {
					t.Errorf("line %s comes to %g kN, over %g, at no time", p.Lines[i].ID, l.HighKN, r.limit)
				}
				continue
			}
			reached++
			near(t, "load at the time told", at(r.at).TensionKN[i], r.limit, 0.5)
		}
	}
	if reached < 4 {
		t.Errorf("only %d limits reached", reached)
	}
	// High water is 6.21 h after low and again a tide later.
	for _, span := range o.Tend {
		i, limit := span.Line, map[assess.Limit]float64{assess.Approaching: 0.8 * p.WorkingLoadKN(span.Line), assess.WorkingLoad: p.WorkingLoadKN(span.Line), assess.Brake: p.Lines[span.Line].BrakeRenderKN}[span.Reason]
		if span.Reason != assess.Below && span.From.After(begin) {
			near(t, "load where tending begins", at(span.From).TensionKN[i], 0.8*p.WorkingLoadKN(i), 0.5)
			near(t, "load where the limit is said to be reached", at(span.ReachedAt).TensionKN[i], limit, 0.5)
		}
		high := begin.Add(time.Duration(6.21 * float64(time.Hour)))
		if span.From.After(high.Add(12 * time.Hour)) {
			high = high.Add(time.Duration(12.42 * float64(time.Hour)))
		}
		if span.Reason != assess.Below && (span.From.After(high) || span.To.Before(high)) && span.To.Before(begin.Add(18*time.Hour)) {
			t.Errorf("line %s needs tending from %v to %v, not at high water", p.Lines[span.Line].ID, span.From, span.To)
		}
	}
	if len(o.Tend) == 0 {
		t.Error("nothing to tend on a tide of 5 m")
	}
}

func TestAheadTellsSlackLines(t *testing.T) {
	// One breast line is set slack: as the ship falls with the tide its group comes
	// to hold and it does not.
	p := abreast([]float64{-30, -30, 30, 30}, func(i int, l *mooring.Line) {
		l.PretensionKN, l.Fairlead.Z = 20, 15
		l.Group = mooring.FwdBreast
		if i == 0 {
			l.PretensionKN = 0.5
		}
	})
	p.Fenders = []mooring.Fender{{XM: -20, StiffnessKNPerM: 1000}, {XM: 20, StiffnessKNPerM: 1000}}
	o := assess.New(p).Ahead(assess.Conditions{}, []assess.Moment{{At: begin}, {At: begin.Add(time.Hour), RiseFwdM: 0.1, RiseAftM: 0.1}})
	if len(o.Tend) != 1 || o.Tend[0].Line != 0 || o.Tend[0].Reason != assess.Below || !o.Lines[0].SlackAt.Equal(begin) {
		t.Errorf("%+v, line A slack at %v", o.Tend, o.Lines[0].SlackAt)
	}
}

func TestAheadGoesOnPastMomentsWithoutRest(t *testing.T) {
	// Without fenders the ship has no rest on the quay's side of her lines: when the
	// lines hang slack under a push onto the quay.
	p := abreast([]float64{-30, 30}, nil)
	c := assess.Conditions{Other: mooring.Force{SwayKN: -100}}
	o := assess.New(p).Ahead(c, []assess.Moment{{At: begin}, {At: begin.Add(time.Hour)}})
	if o.TensionKN[0] != nil || o.TensionKN[1] != nil || !math.IsInf(o.Lines[0].HighKN, -1) || o.Tend != nil {
		t.Errorf("%+v", o)
	}
}

func BenchmarkAhead24Hours(b *testing.B) {
	p := sixteen(b)
	m, moments := assess.New(p), day(p, 24)
	b.ReportAllocs()
	for b.Loop() {
		if o := m.Ahead(assess.Conditions{WindMS: 10, WindFromDeg: 320}, moments); len(o.TensionKN) != 289 {
			b.Fatal(len(o.TensionKN))
		}
	}
}
