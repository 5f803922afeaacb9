package mooring

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// scipyRope, scipyLine and scipyMooring are the forms of reference.json.
type scipyRope struct {
	BreakStrain float64 `json:"break_strain"`
	Soft        float64 `json:"soft"`
	MBLkN       float64 `json:"mbl_kN"`
	KgPerM      float64 `json:"kg_per_m"`
	LengthM     float64 `json:"length_m"` // of a tail
}

type scipyLine struct {
	Name         string     `json:"name"`
	Main         scipyRope  `json:"main"`
	Tail         *scipyRope `json:"tail"`
	InboardM     float64    `json:"inboard_m"`
	UnstretchedM float64    `json:"unstretched_m"`

	LevelM float64 `json:"level_m"`
	DropM  float64 `json:"drop_m"` // height of hook over fairlead
	// The answers.
	LevelKN    float64 `json:"level_kN"`
	FairleadKN float64 `json:"fairlead_kN"`
	HookKN     float64 `json:"hook_kN"`

	Fairlead [3]float64 `json:"fairlead_m"` // of a line of a mooring
	Hook     [3]float64 `json:"hook_m"`
}

type scipyMooring struct {
	Name    string      `json:"name"`
	LoaM    float64     `json:"loa_m"`
	BeamM   float64     `json:"beam_m"`
	Lines   []scipyLine `json:"lines"`
	Fenders []struct {
		XM     float64 `json:"x_m"`
		KNPerM float64 `json:"kN_per_m"`
	} `json:"fenders"`
	Force [3]float64 `json:"force"`
	// The answers.
	SurgeM    float64   `json:"surge_m"`
	SwayM     float64   `json:"sway_m"`
	YawRad    float64   `json:"yaw_rad"`
	TensionKN []float64 `json:"tension_kN"`
}

func (r *scipyRope) rope() rope {
	return rope{curve{r.BreakStrain, r.Soft}, r.MBLkN, r.KgPerM}
}

func (l *scipyLine) law() Law {
	law := Law{main: l.Main.rope()}
	if l.Tail != nil {
		law.tail, law.tailM = l.Tail.rope(), l.Tail.LengthM
	}
	return law
}

// scipy reads the answers of testdata/scipy/reference.py, which CI reckons anew.
func scipy(t *testing.T) (lines []scipyLine, moorings []scipyMooring) {
	t.Helper()
	b, err := os.ReadFile("testdata/scipy/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var all struct {
		Lines    []scipyLine
		Moorings []scipyMooring
	}
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	if len(all.Lines) == 0 || len(all.Moorings) == 0 {
		t.Fatal("reference.json is empty")
	}
	return all.Lines, all.Moorings
}

func TestHungLinesAgainstScipy(t *testing.T) {
	// There each metre has its own tension and its own weight; here one tension and
	// an even weight. The pulls agree to a ten-thousandth of MBL, the loads at the
	// ends, where a slack line's weight counts most, to three.
	lines, _ := scipy(t)
	for _, l := range lines {
		law := l.law()
		s := Span{LengthM: math.Hypot(l.LevelM, l.DropM)}
		s.Unit = Point{X: l.LevelM / s.LengthM, Z: l.DropM / s.LengthM}
		pull, _ := law.hang(&s, l.InboardM, l.UnstretchedM, 0)
		fairlead, hook := law.ends(&s, l.InboardM, l.UnstretchedM, pull)
		near(t, l.Name+": level pull", pull*l.LevelM/s.LengthM, l.LevelKN, 1e-4*l.Main.MBLkN)
		near(t, l.Name+": fairlead", fairlead, l.FairleadKN, 3e-4*l.Main.MBLkN)
		near(t, l.Name+": hook", hook, l.HookKN, 3e-4*l.Main.MBLkN)
	}
}

func TestEquilibriumAgainstScipy(t *testing.T) {
	_, moorings := scipy(t)
	for _, m := range moorings {
		p := &Plan{Berth: "test", Ship: Ship{LoaM: m.LoaM, BeamM: m.BeamM}}
		for _, f := range m.Fenders {
			p.Fenders = append(p.Fenders, Fender{XM: f.XM, StiffnessKNPerM: f.KNPerM})
		}
		point := func(v [3]float64) Point { return Point{v[0], v[1], v[2]} }
		unstretched := make([]float64, len(m.Lines))
		for i, l := range m.Lines {
			p.Lines = append(p.Lines, Line{Fairlead: point(l.Fairlead), Hook: point(l.Hook),
				InboardM: l.InboardM, Material: SteelWire, MBLkN: l.Main.MBLkN})
			unstretched[i] = l.UnstretchedM
		}
		r := NewRig(p)
		for i := range m.Lines {
			r.laws[i] = m.Lines[i].law()
		}
		e, err := r.Equilibrium(Force{m.Force[0], m.Force[1], m.Force[2]}, unstretched, Pose{})
		if err != nil {
			t.Errorf("%s: %v", m.Name, err)
			continue
		}
		near(t, m.Name+": surge", e.Pose.SurgeM, m.SurgeM, 1e-4)
		near(t, m.Name+": sway", e.Pose.SwayM, m.SwayM, 1e-4)
		near(t, m.Name+": yaw", e.Pose.YawRad, m.YawRad, 1e-6)
		for i := range e.TensionKN {
			near(t, m.Name+": tension", e.TensionKN[i], m.TensionKN[i], 1e-4*p.Lines[i].MBLkN)
		}
	}
}
