package mooring

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"
)

func TestSampleOfFiftyMillimetres(t *testing.T) {
	// Breaking load and stretch at break of a 50 mm sample: common practice, no
	// source; of mixed fibre only the load, and "as its mix", half polyester and
	// half polypropylene, for its stretch; of aramid from memory.
	for _, row := range []struct {
		material                Material
		tonnes, percent, within float64 // within: of the load, share
		ofStretch               float64 // percent of length
	}{
		{SteelWire, 150, 2, 0.01, 0.1},
		{Polypropylene, 31, 20, 0.01, 0.1},
		{Polyamide, 44, 20, 0.01, 0.1},
		{Polyester, 35, 12, 0.01, 0.1},
		{Polyolefin, 41, 20, 0.01, 0.1},
		{HMPE, 193, 3.5, 0.01, 0.1},
		{MixedFibre, 49, (12 + 20) / 2, 0.03, 1.5},
		{Aramid, 145, 4, 0.01, 0.1},
	} {
		load := row.material.BreakingLoadKN(50)
		near(t, row.material.String()+" load, t", load/9.80665, row.tonnes, row.within*row.tonnes)
		stretch := fabrics[row.material].breakStrain
		near(t, row.material.String()+" stretch, %", 100*stretch, row.percent, row.ofStretch)
		// The law of a line of it breaks there.
		p := &Plan{Lines: []Line{{Material: row.material, MBLkN: load, DiameterMM: 50}}}
		law := NewLaw(p, 0)
		near(t, row.material.String()+" at break", law.TensionKN(40*(1+stretch), 40), load, 1e-9*load)
	}
}

func TestPolyamideAtWorkingLoads(t *testing.T) {
	// UFC 4-159-03 Table 6-8: AE = 3.54 times break strength, here as the slope
	// from 10 to 25 % of it.
	p := &Plan{Lines: []Line{{Material: Polyamide, MBLkN: 100}}}
	law := NewLaw(p, 0)
	lo, _ := law.main.strain(10)
	hi, _ := law.main.strain(25)
	near(t, "slope", (25-10)/(hi-lo)/100, 3.54, 0.15*3.54)
}

func TestEstimateOfDoubleBraidedPolyamide(t *testing.T) {
	// UFC 4-159-03 Table 6-8, the average break strength of twenty sizes. Double
	// braid is stronger than the trade's figure for polyamide at large: the
	// estimate stays within the 35 % it promises.
	f, err := os.Open("testdata/double_braided_nylon.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, row := range rows[1:] {
		inches, kN, axial := number(row[0]), 100*number(row[1]), 100*number(row[2])
		near(t, row[0]+" in", Polyamide.BreakingLoadKN(25.4*inches)/kN, 1, 0.35)
		near(t, row[0]+" in, AE", axial/kN, 3.54, 0.01)
	}
}

func TestMassOfRope(t *testing.T) {
	// From memory: 42 mm wire 7.2 kg/m; 64 mm polyamide 2.5, polyester 3.1,
	// polypropylene 1.8; 44 mm HMPE of twelve strands 1.0.
	for _, row := range []struct {
		material      Material
		mm, kgM, most float64
	}{
		{SteelWire, 42, 7.2, 0.05},
		{Polyamide, 64, 2.5, 0.1},
		{Polyester, 64, 3.1, 0.1},
		{Polypropylene, 64, 1.8, 0.12},
		{HMPE, 44, 1.0, 0.1},
	} {
		near(t, row.material.String(), row.material.MassKGPerM(row.mm)/row.kgM, 1, row.most)
	}
}

func TestPolyamideIsWeakerWet(t *testing.T) {
	// UFC 4-159-03 Table 3-7, note **: 15 % less.
	near(t, "polyamide", Polyamide.WetStrength(), 0.85, 0)
	near(t, "polyester", Polyester.WetStrength(), 1, 0)
}

func TestElongationOfACertificate(t *testing.T) {
	// By hand: 50 m of main that breaks at 3 % and 10 m of tail at 25 %, both of 600
	// kN, are drawn out 1.5 and 2.5 m when they break.
	p := &Plan{Lines: []Line{{Material: HMPE, MBLkN: 600, BreakStrain: 0.03,
		Tail: &Tail{Material: Polyamide, LengthM: 10, MBLkN: 600, BreakStrain: 0.25}}}}
	law := NewLaw(p, 0)
	near(t, "at break", law.TensionKN(64, 60), 600, 1e-9*600)
}

func TestEnergyIsTheAreaUnderTheLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := anyLaw(t)
		unstretched := rapid.Float64Range(45, 250).Draw(t, "unstretched") // longer than any tail
		tension := rapid.Float64Range(0.05, 1).Draw(t, "share") * law.main.mblKN
		mainM, tailM := law.parts(unstretched)
		sm, _ := law.main.strain(tension)
		stretch := mainM * sm
		if tailM > 0 {
			st, _ := law.tail.strain(tension)
			stretch += tailM * st
		}
		area := quad.Fixed(func(x float64) float64 { return law.TensionKN(unstretched+x, unstretched) },
			0, stretch, 40, nil, 0)
		got := law.Stored(tension, unstretched).EnergyKJ()
		if math.Abs(got-area) > 1e-5*area {
			t.Fatalf("%g kJ, by quadrature %g", got, area)
		}
	})
}
