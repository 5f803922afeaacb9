package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hawser/detect/mooring"
)

// Where a ship touches her fenders is found from how she moves in gusts; where she never
// touches them, it is not known. She moves by Newton's second law, integrated by floater.
func TestContactIsFound(t *testing.T) {
	const within = 0.03 // m; she moves by one to two
	for _, c := range []struct {
		pressed float64 // m; off them when negative
		touches bool
	}{{0.03, true}, {0.01, true}, {-0.02, true}, {-6, false}} {
		for seed := range uint64(5) {
			t.Run(fmt.Sprint(c.pressed, " ", seed), func(t *testing.T) {
				b := floater{pressed: c.pressed, gust: 60, seed: seed}.record()
				b.searchContact()
				for e, level := range b.state.Motion.Contact.Level {
					switch known := b.state.Motion.Contact.Known[e]; {
					case known != c.touches:
						t.Errorf("end %d: known %v", e, known)
					case known && math.Abs(level-c.pressed) > within:
						t.Errorf("end %d: fenders begin at %.3f m, want %.3f", e, level, c.pressed)
					}
				}
			})
		}
	}
}

// swinging is a berth whose ship has swung for so many steps as a body on springs does that
// is pushed at random.
func swinging(steps int) *Berth {
	b := New(&mooring.Plan{Ship: mooring.Ship{LoaM: 200, BeamM: 32, DisplacementT: 40000}})
	rng := rand.New(rand.NewPCG(3, 1))
	var at stepState
	var speed, push [modes]float64
	for range steps {
		for k := range modes {
			push[k] += (1e-3*rng.NormFloat64() - push[k]) / 40 // m/s²
			at.Forcing[forceLines][k] = -0.01 * at.Pos[k]
			speed[k] += (push[k] + at.Forcing[forceLines][k] - 0.02*speed[k]) * stepPeriod
			at.Pos[k] += speed[k] * stepPeriod
		}
		b.state.Motion.Kept.add(&at)
		for c := range centres {
			b.state.Motion.Predictors[c].step(b.stepAbout(c, &at), &b.errorChols[c])
		}
	}
	return b
}

// Steps gone through once more with nothing new known leave what was known: the newest
// steps, and about the same covariances.
func TestRelearningWithNothingNew(t *testing.T) {
	for _, steps := range []int{300, 768, 900, 5000} {
		b := swinging(steps)
		before := b.state.Motion.Predictors
		b.relearn()
		for c := range centres {
			was, is := &before[c], &b.state.Motion.Predictors[c]
			if is.Steps > min(was.Steps, stepsKept) || is.Steps <= min(was.Steps, stepsKept)-historySteps || (was.Steps-is.Steps)%historySteps != 0 {
				t.Errorf("%d steps: gone through %d", steps, is.Steps)
			}
			for k := range historySteps {
				for m := range modes {
					if v, w := was.History[k].Pos[m], is.History[k].Pos[m]; math.Abs(v-w) > 1e-6 {
						t.Fatalf("%d steps: step %d of the ring is at %g m, was at %g", steps, k, w, v)
					}
				}
			}
			if steps < 768 {
				continue
			}
			for p := range errorDim {
				if r := math.Sqrt(is.Cov[p][p] / was.Cov[p][p]); r < 0.5 || r > 2 {
					t.Errorf("%d steps, centre %d: standard deviation of error %d is %.2f of what it was", steps, c, p, r)
				}
			}
		}
	}
}
