package assess_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

// tended is a ship whose lines were badly set, drawn by lot, on a tide.
type tended struct {
	plan    *mooring.Plan
	lengths []float64
	c       assess.Conditions
}

func drawTended(t *rapid.T, p *mooring.Plan) tended {
	d := tended{plan: p, lengths: mooring.NewRig(p).Pretensioned()}
	for range rapid.IntRange(1, 5).Draw(t, "lines badly set") {
		i := rapid.IntRange(0, len(d.lengths)-1).Draw(t, "line")
		d.lengths[i] *= 1 + rapid.Float64Range(-0.04, 0.03).Draw(t, "too long by")
	}
	rise := rapid.Float64Range(-3, 3).Draw(t, "rise")
	d.c = assess.Conditions{RiseFwdM: rise, RiseAftM: rise,
		WindMS: rapid.Float64Range(0, 20).Draw(t, "wind"), WindFromDeg: rapid.Float64Range(0, 359).Draw(t, "from")}
	return d
}

// limitKN is the load that no line may pass on the way, by the plan alone.
func limitKN(p *mooring.Plan, i int) float64 {
	limit := p.WorkingLoadKN(i)
	if l := &p.Lines[i]; l.MadeFast == mooring.Winch && l.BrakeRenderKN > 0 {
		limit = min(limit, l.BrakeRenderKN)
	}
	return limit
}

// After the actions in their order all lines are under their limits, and on the
// way, looked at ten times an action by the mechanics alone, none passes its limit;
// one that was past it at the start never carries 0.02 of MBL more than then.
func TestTendingKeepsUnderLimits(t *testing.T) {
	settled, acted := 0, 0
	for _, name := range plans {
		p := shared(t, name)
		rig := mooring.NewRig(p)
		rapid.Check(t, func(t *rapid.T) {
			d := drawTended(t, p)
			m := assess.Fitted(p, d.lengths, mooring.Pose{})
			advice, err := m.Tend(d.c)
			if err != nil {
				return // no rest to begin with
			}
			lengths, force := slices.Clone(d.lengths), m.Force(d.c)
			at := advice.Before.Pose
			loads := advice.Before.TensionKN
			for _, a := range advice.Actions {
				acted++
				for range 10 {
					lengths[a.Line] += a.PayOut / 10
					e, err := rig.Equilibrium(force, lengths, at)
					if err != nil {
						t.Fatal(err)
					}
					at, loads = e.Pose, e.TensionKN
					for i, kN := range loads {
						allowed := max(limitKN(p, i), advice.Before.TensionKN[i]+0.02*p.Lines[i].MBLkN)
						if advice.Before.TensionKN[i] < limitKN(p, i) {
							allowed = limitKN(p, i)
						}
						if kN > allowed*(1+1e-6) {
							t.Fatalf("working line %s: line %s comes to %g kN over %g", p.Lines[a.Line].ID, p.Lines[i].ID, kN, allowed)
						}
					}
				}
				if math.Abs(loads[a.Line]-a.ToKN) > 1e-3 {
					t.Fatalf("line %s worked to %g kN, told %g", p.Lines[a.Line].ID, loads[a.Line], a.ToKN)
				}
				if !advice.Bitts && p.Lines[a.Line].MadeFast == mooring.Bitts {
					t.Fatalf("line %s is on bitts", p.Lines[a.Line].ID)
				}
			}
			if !advice.Settles() {
				return
			}
			settled++
			for i, kN := range loads {
				if kN >= p.Limits.ApproachFraction*p.WorkingLoadKN(i) {
					t.Fatalf("settled, and line %s carries %g kN", p.Lines[i].ID, kN)
				}
			}
			evenGroups(t, p, loads)
		})
	}
	if settled < 150 || acted < 100 {
		t.Errorf("%d of 300 draws settled, %d actions: the property is hardly tried", settled, acted)
	}
}

// evenGroups wants no line with 1.5 times the mean share of the rest of its group
// and 0.15 of MBL, and none under 0.02 while the rest carry 0.08: common practice,
// no source.
func evenGroups(t *rapid.T, p *mooring.Plan, loads []float64) {
	for i := range p.Lines {
		var rest, n float64
		for j := range p.Lines {
			if j != i && p.Lines[j].Group == p.Lines[i].Group {
				rest, n = rest+loads[j]/p.Lines[j].MBLkN, n+1
			}
		}
		share := loads[i] / p.Lines[i].MBLkN
		if n > 0 && (share >= 0.15 && share > 1.5*rest/n*(1+1e-9) || share < 0.02 && rest/n >= 0.08) {
			t.Fatalf("settled, and line %s carries %.3f while the rest of its group carry %.3f", p.Lines[i].ID, share, rest/n)
		}
	}
}

func TestTendingOneTightLine(t *testing.T) {
	// Line 3 was hove in to well over its limit: one action, on it, paying out.
	p := shared(t, "tanker-12")
	rig := mooring.NewRig(p)
	lengths := rig.Pretensioned()
	i := p.Line("3")
	lengths[i] = rig.UnstretchedM(i, 420, mooring.Pose{})
	advice, err := assess.Fitted(p, lengths, mooring.Pose{}).Tend(assess.Conditions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(advice.Actions) != 1 || advice.Actions[0].Line != i || !(advice.Actions[0].PayOut > 0) || !advice.Settles() {
		t.Fatalf("advice: %+v", advice)
	}
}

// Of a pair one line was hove in to twice its load and its mate hangs back. To heave in
// the mate evens them as well and leaves both tighter: a seaman eases the tight one.
func TestTendingEasesTheTightOneOfAPair(t *testing.T) {
	p := shared(t, "tanker-12")
	rig := mooring.NewRig(p)
	lengths := rig.Pretensioned()
	i := p.Line("12")
	lengths[i] = rig.UnstretchedM(i, 220, mooring.Pose{})
	advice, err := assess.Fitted(p, lengths, mooring.Pose{}).Tend(assess.Conditions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(advice.Actions) != 1 || advice.Actions[0].Line != i || !(advice.Actions[0].PayOut > 0) || !advice.Settles() {
		t.Fatalf("advice: %+v", advice.Actions)
	}
	for k, kN := range advice.Actions[0].After.TensionKN {
		if kN > 0.75*advice.Before.TensionKN[i] {
			t.Errorf("then line %s carries %.0f kN of the %.0f that were too much", p.Lines[k].ID, kN, advice.Before.TensionKN[i])
		}
	}
}

// The brake of line 9 let it run out, and 10 holds her stern in its place. To ease 10 evens
// them as well; while 9 is told to have slipped, 9 is heaved in.
func TestTendingDoesNotEaseWhatHoldsForALineThatSlipped(t *testing.T) {
	p := shared(t, "tanker-12")
	i, other := p.Line("9"), p.Line("10")
	advise := func(slipped ...int) assess.Advice {
		c := assess.Conditions{WindMS: 16, WindFromDeg: p.HeadingDeg + 80}
		m, left := assess.Measured(p, []float64{100, 109, 107, 104, 99, 95, 98, 93, 45, 154, 104, 108}, c)
		c.Other = left
		m.Slipped(slipped...)
		advice, err := m.Tend(c)
		if err != nil {
			t.Fatal(err)
		}
		return advice
	}
	if a := advise().Actions; len(a) != 1 || a[0].Line != other || !(a[0].PayOut > 0) {
		t.Errorf("with nothing told: %+v, not what this is a test of", a)
	}
	a := advise(i)
	if !a.Settles() || len(a.Actions) == 0 {
		t.Errorf("line 9 slipped: %+v", a)
	}
	for _, x := range a.Actions {
		if x.Line != i || x.PayOut >= 0 {
			t.Errorf("line 9 slipped, and line %s is to be worked by %.2f m", p.Lines[x.Line].ID, x.PayOut)
		}
	}
}

// Line 12 is far too tight, and its pin or its hold is not to be believed: no winch of it
// is worked, and that it is too tight is said.
func TestTendingDoesNotWorkWhatIsToBeLeftAlone(t *testing.T) {
	p := shared(t, "tanker-12")
	rig := mooring.NewRig(p)
	lengths := rig.Pretensioned()
	i := p.Line("12")
	lengths[i] = rig.UnstretchedM(i, 350, mooring.Pose{})
	for _, alone := range []bool{false, true} {
		m := assess.Fitted(p, lengths, mooring.Pose{})
		if alone {
			m.LeaveAlone(i)
		}
		advice, err := m.Tend(assess.Conditions{})
		if err != nil {
			t.Fatal(err)
		}
		worked := slices.ContainsFunc(advice.Actions, func(a assess.Action) bool { return a.Line == i })
		if worked == alone || alone && (advice.Settles() || advice.Concerns[i] != assess.Over) {
			t.Errorf("to be left alone %t: %+v, left: %v", alone, advice.Actions, advice.Concerns)
		}
	}
}

func TestTendingLeavesAQuietMooringAlone(t *testing.T) {
	for _, name := range plans {
		advice, err := assess.New(shared(t, name)).Tend(assess.Conditions{WindMS: 5, WindFromDeg: 10})
		if err != nil || len(advice.Actions) != 0 || !advice.Settles() {
			t.Errorf("%s: %+v, %v", name, advice, err)
		}
	}
}

func TestTendingSaysWhatItCannotSettle(t *testing.T) {
	// 400 kN on four lines of 100 kN: no winch makes that less.
	m := assess.New(abreast([]float64{-50, -50, 50, 50}, func(_ int, l *mooring.Line) { l.MadeFast = mooring.Winch }))
	advice, err := m.Tend(off(400))
	if err != nil {
		t.Fatal(err)
	}
	if advice.Settles() || !slices.Contains(advice.Concerns, assess.Over) {
		t.Errorf("advice: %+v", advice)
	}
}

func TestTendingWorksBittsOnlyWhereWinchesDoNot(t *testing.T) {
	// Two lines on winches tight, or the same two on bitts.
	for _, fast := range []mooring.MadeFast{mooring.Winch, mooring.Bitts} {
		p := shared(t, "tanker-12")
		i := p.Line("3")
		p.Lines[i].MadeFast = fast
		rig := mooring.NewRig(p)
		lengths := rig.Pretensioned()
		lengths[i] = rig.UnstretchedM(i, 450, mooring.Pose{})
		advice, err := assess.Fitted(p, lengths, mooring.Pose{}).Tend(assess.Conditions{})
		if err != nil || !advice.Settles() || advice.Bitts != (fast == mooring.Bitts) {
			t.Errorf("%s: %+v, %v", fast, advice, err)
		}
	}
}

func BenchmarkTend(b *testing.B) {
	m := assess.New(sixteen(b))
	c := assess.Conditions{RiseFwdM: 8, RiseAftM: 8, WindMS: 12, WindFromDeg: 320}
	b.ReportAllocs()
	for b.Loop() {
		if a, err := m.Tend(c); err != nil || len(a.Actions) == 0 {
			b.Fatal(err, a.Actions)
		}
	}
}
