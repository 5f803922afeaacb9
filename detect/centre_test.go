package detect

import (
	"math"
	"math/rand/v2"
	"testing"

	"hawser/detect/mooring"
)

// A rigid body that is pushed about and held by springs is moved by Newton's second law
// about its own centre; the centre that its movements were made with is found, whichever
// it was.
func TestCentreOfMovementIsFound(t *testing.T) {
	plan := &mooring.Plan{Ship: mooring.Ship{LoaM: 200, BeamM: 32, DisplacementT: 40000}}
	for truth, name := range map[int]string{face: "fender face", inboard: "inboard"} {
		t.Run(name, func(t *testing.T) {
			b := New(plan)
			rng := rand.New(rand.NewPCG(7, 1))
			lever := b.levers[truth]
			mass := b.masses()
			var pos, speed, push, lines [modes]float64 // about the true centre
			for range 2400 {
				for k := range modes {
					push[k] += (1e-3*rng.NormFloat64() - push[k]) / 40 // m/s², a push over 20 s that nobody measures
					lines[k] = -0.01 * pos[k]
				}
				lines[2] -= lever * 0.004 * pos[0] // springs that lead ahead of the centre
				for k := range modes {
					speed[k] += (push[k] + lines[k] - 0.02*speed[k]) * stepPeriod
					pos[k] += speed[k] * stepPeriod
				}
				at := stepState{Pos: pos}
				at.Pos[0] += lever * pos[2]
				for k := range modes {
					at.Pos[k] += 0.0005 * rng.NormFloat64() // m
				}
				at.Forcing[forceLines] = lines
				at.Forcing[forceLines][2] -= lever * lines[0] * mass[0] / mass[2]
				var logDensity [centres]float64
				for c := range centres {
					logDensity[c] = b.state.Motion.Predictors[c].step(b.stepAbout(c, &at), &b.errorChols[c])
				}
				b.state.Motion.compareCentres(&logDensity)
			}
			if m := &b.state.Motion; m.Centre != truth || math.Abs(m.CentreLLR) < centreLLR {
				t.Errorf("centre %d by a log-likelihood ratio of %.0f, want %d", m.Centre, m.CentreLLR, truth)
			}
		})
	}
}
