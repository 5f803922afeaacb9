package mooring

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// frigate is the FFG-7 of UFC 4-159-03's example: length on the waterline 124.4 m,
// draft 4.389 m, and a displacement that makes the deep-water coefficient 0.85,
// which the example's figures imply.
func frigate() *Plan {
	const length, draft = 124.4, 4.389
	slender := math.Pow(0.85/0.22, 2)
	return &Plan{Ship: Ship{LoaM: length, BeamM: 13.7,
		DisplacementT: waterDensity * length * length * midshipFull * draft / slender},
		Reference: Reference{DraftFwdM: draft, DraftAftM: draft}}
}

func TestCurrentFromAbeamByDepth(t *testing.T) {
	// UFC 4-159-03 Table 4-6: predicted transverse forces at 1.5 m/s.
	f, err := os.Open("testdata/ffg7_current.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		depth, err1 := strconv.ParseFloat(row[0], 64)
		force, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		e := Environment{Plan: frigate(), DepthM: depth}
		near(t, "MN in "+row[0]+" m", e.Current(1.5, 270).SwayKN/1000, force, 0.0075)
	}
}

func TestPropellerTakesTwoThirds(t *testing.T) {
	// UFC 4-159-03 p. 92: of the force of 3 knots on a destroyer's bow, about two
	// thirds are the propeller's. The destroyer, from memory: 161 by 16.8 by 5.9 m,
	// 7,740 m³; area ratio 100, Table 4-7.
	h := hull{lengthM: 161, beamM: 16.8, draftM: 5.9, volumeM3: 7740}
	form, friction, propeller := h.along(1.544, 100)
	near(t, "share", propeller/(form+friction+propeller), 2./3, 0.03)
}

func TestFrictionCoefficient(t *testing.T) {
	// UFC 4-159-03 eq. (19): 0.075/(8-2)² = 0.0020833 at a Reynolds number of 1e8.
	h := hull{lengthM: 100, beamM: 1, draftM: 1, volumeM3: 30} // wetted 170 + 30 m²
	_, friction, _ := h.along(1.19, 1)
	near(t, "coefficient", friction/200, 0.0020833, 1e-7)
}

func TestCurrentSetsToward(t *testing.T) {
	p := tanker() // heads 318, starboard side to
	p.Reference = Reference{DraftFwdM: 10, DraftAftM: 10}
	e := Environment{Plan: p, DepthM: 12}
	for _, row := range []struct {
		name              string
		set               float64
		surge, sway, turn int // signs
	}{
		{"stream from ahead", 318 + 180, -1, 0, 0},
		{"stream from astern", 318, 1, 0, 0},
		{"setting off the quay", 318 - 90, 0, 1, -1}, // the centre of push lies a little abaft amidships
		{"on the quay side of the bow, setting aft and off", 318 + 180 + 30, -1, 1, 1},
		{"on the water side of the bow, setting aft and on", 318 + 180 - 30, -1, -1, -1},
	} {
		f := e.Current(1, row.set)
		for i, v := range []float64{f.SurgeKN, f.SwayKN, f.YawKNm} {
			want := []int{row.surge, row.sway, row.turn}[i]
			if math.Abs(v) < 1e-6 {
				v = 0
			}
			if want != sign(v) {
				t.Errorf("%s: %+v", row.name, f)
				break
			}
		}
	}
	near(t, "astern as ahead", e.Current(1, 318).SurgeKN, -e.Current(1, 318+180).SurgeKN, 1e-9)
	if deep := (&Environment{Plan: p, DepthM: 100}).Current(1, 318-90); !(deep.SwayKN < e.Current(1, 318-90).SwayKN) {
		t.Error("deep water pushes as hard as shallow")
	}
	if unknown := (&Environment{Plan: p}).Current(1, 318-90); math.Abs(unknown.SwayKN-(&Environment{Plan: p, DepthM: 11}).Current(1, 318-90).SwayKN) > 1e-9 {
		t.Errorf("depth not known: %+v", unknown)
	}
	if f := e.Current(0, 0); f.SurgeKN != 0 || f.SwayKN != 0 || f.YawKNm != 0 {
		t.Errorf("slack water pushes: %+v", f)
	}
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}
