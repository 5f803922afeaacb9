package simulate

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
)

// fourBreasts is a ship on four like breasts, so that sway stands alone.
func fourBreasts() *mooring.Plan {
	p := &mooring.Plan{Berth: "test", Ship: mooring.Ship{LoaM: 180, BeamM: 30, DisplacementT: 40000,
		SideWindageM2: 3000, EndWindageM2: 800}}
	for _, x := range []float64{-80, -60, 60, 80} {
		p.Lines = append(p.Lines, mooring.Line{ID: string(rune('a' + len(p.Lines))), Fairlead: mooring.Point{X: x, Z: 10},
			Hook: mooring.Point{X: x, Y: -35, Z: 10}, InboardM: 15, Material: mooring.Polyester, MBLkN: 900,
			PretensionKN: 100, MadeFast: mooring.Bitts, Instrumented: true})
	}
	return p
}

// TestSwayPeriod holds the ship's swing against T = 2π√(m'/k), with k from the
// loads themselves at two places a little apart.
func TestSwayPeriod(t *testing.T) {
	p := fourBreasts()
	s, err := New(p, Story{Start: time.Unix(1e9, 0), Weather: Weather{WindMS: 20, WindFromDeg: 90}})
	if err != nil {
		t.Fatal(err)
	}
	rest := s.ship.pose
	near, far := rest, rest
	near.SwayM, far.SwayM = rest.SwayM-0.05, rest.SwayM+0.05
	k := (s.ship.rig.LineForces(near, s.deck.unstretched, nil).SwayKN -
		s.ship.rig.LineForces(far, s.deck.unstretched, nil).SwayKN) / 0.1
	want := 2 * math.Pi * math.Sqrt(p.Ship.DisplacementT*(1+addedSway)/k)
	if want < 30 || want > 150 {
		t.Fatalf("a period of %.0f s is not a moored ship's", want)
	}

	s.ship.pose.SwayM += 0.1
	var crossings []float64 // outward, s
	var tops []float64
	before, top := 0.1, 0.0
	for len(crossings) < 4 && s.now < 1e5 {
		s.step()
		off := s.ship.pose.SwayM - rest.SwayM
		top = max(top, off)
		if before < 0 && off >= 0 {
			crossings = append(crossings, float64(s.now)*tickS)
			tops = append(tops, top)
			top = 0
		}
		before = off
	}
	if len(crossings) < 4 {
		t.Fatalf("the ship swings %d times", len(crossings))
	}
	// Damping of some 0.1 lengthens the period by half a per cent.
	if got := (crossings[3] - crossings[0]) / 3; math.Abs(got-want) > 0.02*want {
		t.Errorf("period %.2f s, want %.2f", got, want)
	}
	for i := 1; i < len(tops); i++ {
		if r := tops[i] / tops[i-1]; r < 0.3 || r > 0.7 { // a tenth of critical: e^(-2π/10) = 0.53
			t.Errorf("swing %d is %.2f of the one before", i, r)
		}
	}
}

// TestWavesAreAsHighAsTold compares the drawn sea with its definition: the
// standard deviation of the surface is a quarter of the significant height.
func TestWavesAreAsHighAsTold(t *testing.T) {
	p := fourBreasts()
	p.Ship.LoaM = 50 // shorter than the waves: nothing is taken off
	s, err := New(p, Story{Start: time.Unix(1e9, 0), Weather: Weather{WaveM: 1, WavePeriodS: 8}})
	if err != nil {
		t.Fatal(err)
	}
	var sum float64
	const n = 72000 // an hour
	for i := range int64(n) {
		h := s.weather.heave.at(i)
		sum += h * h
	}
	if got, want := math.Sqrt(sum/n), 0.4*1/4.; math.Abs(got-want) > 0.05*want {
		t.Errorf("heave of %.4f m standard deviation, want %.4f", got, want)
	}
}

// TestTurbulenceHasItsSpectrum compares the wind with the first-order process it
// is said to be: its standard deviation, and e^-1 of correlation after its memory.
func TestTurbulenceHasItsSpectrum(t *testing.T) {
	s, err := New(fourBreasts(), Story{Start: time.Unix(1e9, 0), Seed: 3,
		Weather: Weather{WindMS: 15, WindFromDeg: 90, Turbulence: 0.1}})
	if err != nil {
		t.Fatal(err)
	}
	const n, lag = 20 * 20000, 20 * speedMemoryS
	speed := make([]float64, n)
	for i := range speed {
		s.weather.step(int64(i))
		speed[i] = s.weather.speedMS - 15
	}
	var square, product float64
	for i := lag; i < n; i++ {
		square += speed[i] * speed[i]
		product += speed[i] * speed[i-lag]
	}
	if sd := math.Sqrt(square / (n - lag)); math.Abs(sd-1.5) > 0.1 {
		t.Errorf("standard deviation %.3f m/s, want 1.5", sd)
	}
	if r := product / square; math.Abs(r-math.Exp(-1)) > 0.07 {
		t.Errorf("correlation %.3f after %d s, want %.3f", r, speedMemoryS, math.Exp(-1))
	}
}

func TestAWindNothingHolds(t *testing.T) {
	_, err := New(fourBreasts(), Story{Start: time.Unix(1e9, 0), Weather: Weather{WindMS: 30, WindFromDeg: 270}})
	if !errors.Is(err, mooring.ErrNoEquilibrium) || !strings.HasPrefix(err.Error(), "lying in a mean wind of 30 m/s: berth test: ") {
		t.Errorf("a gale onto a quay without fenders is held: %v", err)
	}
}
