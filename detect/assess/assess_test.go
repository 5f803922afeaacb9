package assess_test

import (
	"math"
	"path/filepath"
	"reflect"
	"testing"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/ingest/planfile"
)

var plans = []string{"tanker-12", "carrier-20", "coaster-8"}

// shared is one of the plans that tests share.
func shared(t testing.TB, name string) *mooring.Plan {
	t.Helper()
	p, _, err := planfile.Load(filepath.Join("..", "..", "testdata", "plans", name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// abreast is a ship held by level polyester lines straight off the quay, all alike
// but for what change does, two of them at each x. With no pretension and equal
// stretch the load of a line goes with its MBL, so that loads are found by hand.
func abreast(xs []float64, change func(i int, l *mooring.Line)) *mooring.Plan {
	p := &mooring.Plan{Berth: "hand", Limits: mooring.DefaultLimits(),
		Ship: mooring.Ship{LoaM: 100, BeamM: 20, SideWindageM2: 1000, EndWindageM2: 300}}
	for i, x := range xs {
		l := mooring.Line{ID: string(rune('A' + i)), Group: mooring.FwdBreast,
			Fairlead: mooring.Point{X: x, Z: 5}, Hook: mooring.Point{X: x, Y: -40, Z: 5},
			Material: mooring.Polyester, MBLkN: 100, MadeFast: mooring.Bitts}
		if change != nil {
			change(i, &l)
		}
		p.Lines = append(p.Lines, l)
	}
	return p
}

// off is a force off the quay.
func off(kN float64) assess.Conditions {
	return assess.Conditions{Other: mooring.Force{SwayKN: kN}}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %g, want %g within %g", what, got, want, within)
	}
}

func TestLimitWords(t *testing.T) {
	// Working load limit 0.50 of MBL for fibre and 0.55 for wire (MEG 4 as used with
	// SOLAS II-1/3-8); the watch warns at 0.80 of it.
	p := abreast([]float64{0, 0, 0}, func(i int, l *mooring.Line) {
		switch i {
		case 1:
			l.Material, l.MadeFast, l.BrakeRenderKN = mooring.SteelWire, mooring.Winch, 60
		case 2:
			l.Tail = &mooring.Tail{Material: mooring.Polyamide, LengthM: 11, MBLkN: 90}
		}
	})
	m := assess.New(p)
	for _, c := range []struct {
		line int
		kN   float64
		want string
	}{
		{0, 39.9, "below"}, {0, 40, "approaching"}, {0, 50, "working-load"}, {0, 99, "working-load"}, {0, 100, "breaking"},
		{1, 43.9, "below"}, {1, 44.1, "approaching"}, {1, 54, "approaching"}, {1, 55.1, "working-load"}, {1, 60, "brake"}, {1, 100, "breaking"},
		{2, 89, "working-load"}, {2, 90, "breaking"}, // by the tail
	} {
		if got := m.Limit(c.line, c.kN).String(); got != c.want {
			t.Errorf("line %s at %g kN: %s, want %s", p.Lines[c.line].ID, c.kN, got, c.want)
		}
	}
}

func TestNoEquilibriumSaysWhatIsHeld(t *testing.T) {
	// Lines off the quay and nothing else: pressed onto it without fenders the ship
	// has no rest.
	m := assess.New(abreast([]float64{-30, 30}, nil))
	c := assess.Conditions{Other: mooring.Force{SwayKN: -500}}
	if _, err := m.Steady(c); err == nil {
		t.Fatal("a ship at rest against nothing")
	}
	share, force := m.Holds(c)
	if share > 0.5 || math.Abs(force.SwayKN+share*500) > 1e-9 {
		t.Errorf("holds %g of the force, %+v", share, force)
	}
}

func TestSameAnswersEachTime(t *testing.T) {
	for _, name := range plans {
		c := assess.Conditions{WindMS: 16, WindFromDeg: 75, RiseFwdM: 2.5, RiseAftM: 2.1}
		all := func() []any {
			m := assess.New(shared(t, name))
			advice, err := m.Tend(c)
			if err != nil {
				t.Fatal(err)
			}
			spread, err := m.Spread(c, false)
			if err != nil {
				t.Fatal(err)
			}
			return []any{m.LoseEach(c), m.WindLimits(c, 12), advice, spread}
		}
		if a, b := all(), all(); !reflect.DeepEqual(a, b) {
			t.Errorf("%s: two runs differ", name)
		}
	}
}

func TestSpreadByHand(t *testing.T) {
	// Two like lines carry half each. With one 30 % stiffer or softer the other's
	// part is 1/2.3 or 1/1.7 and its own 1.3/2.3 or 0.7/1.7.
	m := assess.New(abreast([]float64{0, 0}, nil))
	s, err := m.Spread(off(60), true)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		near(t, "least", s.LowKN[i], 60*0.7/1.7, 1e-6)
		near(t, "most", s.HighKN[i], 60/1.7, 1e-6)
	}
}

func TestSpreadOfALossByHand(t *testing.T) {
	// Three like lines, one lost: the other two are the case above. With all ropes
	// alike stiffer each still carries half.
	m := assess.New(abreast([]float64{0, 0, 0}, nil))
	q := assess.Question{Mooring: m, Conditions: off(60), Measured: true, Without: []int{0}}
	l := q.Answer().Losses[0]
	near(t, "load", l.First.TensionKN[l.Worst], 30, 1e-6)
	near(t, "least", l.WorstLowKN, 60*0.7/1.7, 1e-6)
	near(t, "most", l.WorstHighKN, 60*1.3/2.3, 1e-6)
}

func TestMotionAgainstCriteria(t *testing.T) {
	// PIANC 1995, from memory: tankers surge 3 m and sway 3 m, no yaw; general cargo
	// 2 m, 1.5 m, 3 degrees.
	for _, c := range []struct {
		work assess.Work
		m    assess.Motion
		want bool
	}{
		{assess.Tanker, assess.Motion{SurgeM: 3, SwayM: 3, YawDeg: 20}, true},
		{assess.Tanker, assess.Motion{SurgeM: 3.01}, false},
		{assess.Tanker, assess.Motion{SwayM: 3.01}, false},
		{assess.GeneralCargo, assess.Motion{SurgeM: 2, SwayM: 1.5, YawDeg: 3}, true},
		{assess.GeneralCargo, assess.Motion{YawDeg: 3.1}, false},
	} {
		if got := c.m.Within(c.work.Criterion()); got != c.want {
			t.Errorf("%s, %+v: within %v", c.work, c.m, got)
		}
	}
	// Off the quay the lines hang in a wind that blows onto it, so she moves by what
	// the gusts add to the stretch; and more wind moves her more.
	m := assess.New(shared(t, "coaster-8"))
	less, err1 := m.Motion(assess.Conditions{WindMS: 12, WindFromDeg: 304})
	more, err2 := m.Motion(assess.Conditions{WindMS: 18, WindFromDeg: 304})
	if err1 != nil || err2 != nil || !(more.SwayM > less.SwayM && less.SwayM > 0) {
		t.Errorf("12 m/s: %+v %v; 18 m/s: %+v %v", less, err1, more, err2)
	}
}
