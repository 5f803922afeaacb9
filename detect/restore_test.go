package detect_test

import (
	"errors"
	"testing"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
)

// told is a plan with all that a plan may say, made anew at each call, as another
// process reads it.
func told(t *testing.T) *mooring.Plan {
	t.Helper()
	p := ship(3)
	p.Tide = &mooring.Tide{MeanLevelM: 2.4, Constituents: []mooring.TidalConstituent{{Name: "M2", AmplitudeM: 1.35, LagDeg: 142}},
		Table: []mooring.TideLevel{{At: time.Unix(0, 0), LevelM: 1}, {At: time.Unix(3600, 0), LevelM: 2}}}
	p.Ship.Windage = &mooring.Windage{HullM2: 900, HullTopM: 9, HouseM2: 300, HouseTopM: 25}
	for _, c := range []**mooring.Coefficients{&p.Ship.WindBy, &p.Ship.CurrentBy} {
		made, err := mooring.NewCoefficients([]mooring.CoefficientRow{{OffBowDeg: 0, Ahead: -0.3}, {OffBowDeg: 90, ToPort: 2.4}, {OffBowDeg: 180, Ahead: 0.3}})
		if err != nil {
			t.Fatal(err)
		}
		*c = made
	}
	for i := range p.Lines {
		p.Lines[i].Tail = &mooring.Tail{Material: mooring.Polyester, LengthM: 11, DiameterMM: 64, MBLkN: 860}
	}
	return p
}

// A berth goes on after a restart, for which its plan was read again; not where
// anything that the plan says is another.
func TestRestoreUnderTheSamePlanReadAgain(t *testing.T) {
	kept, err := detect.New(told(t)).Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := detect.Restore(told(t), kept); err != nil {
		t.Errorf("the same plan: %v", err)
	}
	for name, change := range map[string]func(*mooring.Plan){
		"no tide":        func(p *mooring.Plan) { p.Tide = nil },
		"another tide":   func(p *mooring.Plan) { p.Tide.Constituents[0].LagDeg++ },
		"another level":  func(p *mooring.Plan) { p.Tide.Table[1].LevelM++ },
		"higher house":   func(p *mooring.Plan) { p.Ship.Windage.HouseTopM++ },
		"no wind table":  func(p *mooring.Plan) { p.Ship.WindBy = nil },
		"tables swapped": func(p *mooring.Plan) { p.Ship.WindBy, p.Ship.CurrentBy = nil, p.Ship.WindBy },
		"shorter tail":   func(p *mooring.Plan) { p.Lines[2].Tail.LengthM-- },
	} {
		p := told(t)
		change(p)
		if _, err := detect.Restore(p, kept); !errors.Is(err, detect.ErrSnapshot) {
			t.Errorf("%s: error %v, want one that is ErrSnapshot", name, err)
		}
	}
}
