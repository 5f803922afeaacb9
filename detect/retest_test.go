package detect

import (
	"math"
	"math/rand/v2"
	"testing"

	"hawser/detect/mooring"
)

// floater is a ship of 20,000 t on six lines, with fenders, whose line 0 carries 100 kN
// when it falls. Her record is Newton's second law integrated here in steps of a
// twentieth of a second, under random gusts, the lines as springs.
type floater struct {
	gone    bool
	pressed float64 // compression of her fenders at first, m; negative: off them
	gust    float64 // kN, standard deviation, each mode
	jump    float64 // of the pin of line 3, two minutes before the fall, kN
	seed    uint64
}

const fallTick = 20 * 1000

func (f floater) record() *Berth {
	plan := &mooring.Plan{Ship: mooring.Ship{LoaM: 150, BeamM: 25, DisplacementT: 20000}}
	for _, x := range []float64{-36, 36} {
		plan.Fenders = append(plan.Fenders, mooring.Fender{XM: x, ZM: 3, StiffnessKNPerM: 4000})
	}
	for i, x := range []float64{70, 60, 40, -40, -60, -70} {
		plan.Lines = append(plan.Lines, mooring.Line{ID: string(rune('a' + i)), Group: mooring.Head, Instrumented: true,
			Fairlead: mooring.Point{X: x, Y: 3, Z: 10}, Hook: mooring.Point{X: x * 1.1, Y: -25, Z: 5}, InboardM: 10,
			Material: mooring.Polyester, DiameterMM: 60, MBLkN: 600, PretensionKN: 100})
	}
	b := New(plan)
	rng := rand.New(rand.NewPCG(f.seed, 9))
	mass, arm := b.masses(), yawArm(&plan.Ship)
	var place, speed, gust, since [modes]float64 // since: sums of a span
	var push [modes]float64
	const step, each = 0.05, 40
	r := &b.state.Motion.Record
	for n := range (180 + 40) * each {
		tick := fallTick - 180*spanTicks + int64(n)*spanTicks/each
		held := [modes]float64{}
		var total [modes]float64
		for i := range b.models {
			lm := &b.models[i]
			pull := -lm.pretensionStiffness * dot(&lm.Pull, &place) // against what holds her where she is
			for m := range modes {
				held[m] += pull * lm.Pull[m] / mass[m]
				total[m] += pull * lm.Pull[m] / mass[m]
				if i == 0 && f.gone && tick >= fallTick {
					total[m] -= (pull + 100) * lm.Pull[m] / mass[m]
				}
			}
		}
		for _, fender := range plan.Fenders {
			in := func(p *[modes]float64) float64 {
				return max(0, f.pressed-p[1]-fender.XM/arm*p[2]) * fender.StiffnessKNPerM
			}
			more := in(&place) - in(&[modes]float64{})
			total[1] += more / mass[1]
			total[2] += more * fender.XM / arm / mass[2]
		}
		for m := range modes {
			keep := math.Exp(-step / 12)
			gust[m] = keep*gust[m] + f.gust*math.Sqrt(1-keep*keep)*rng.NormFloat64()
			total[m] += gust[m]/mass[m] - 0.01*speed[m]
			speed[m] += total[m] * step
			place[m] += speed[m] * step
			since[m] += place[m] / each
			push[m] += held[m] / each
		}
		if (n+1)%each == 0 {
			s := &r.Kept[r.Count%recordKept]
			*s = span{Pos: since}
			for m := range modes {
				s.Pos[m] += 0.001 * rng.NormFloat64()
			}
			if tick >= fallTick-60*spanTicks {
				b.state.Lines[3].OwnPull[r.Count%recordKept] = float32(f.jump)
				for m := range modes {
					push[m] += f.jump * b.models[3].Pull[m] / mass[m]
				}
			}
			s.Forcing[forceLines] = push
			r.Count++
			since, push = [modes]float64{}, [modes]float64{}
		}
	}
	b.state.Lines[0].Parting = parting{FellAt: fallTick, LoadBefore: 100}
	return b
}

func (f floater) llr(t *testing.T) float64 {
	b := f.record()
	llr, ok := b.recordLLR(moment{Tick: fallTick + 40*spanTicks - 1}, 0)
	if !ok {
		t.Fatalf("%+v: no verdict", f)
	}
	return llr
}

// Newton's second law tells a line that parted from a pin that died: with the ship off
// her fenders, and on them, where she moves but little, and when the zero of another pin
// has jumped, whose line seems to pull on her and does not.
func TestRetestIsByNewton(t *testing.T) {
	for seed := range uint64(3) {
		for name, f := range map[string]floater{
			"off her fenders":    {gust: 20, pressed: -2},
			"on her fenders":     {gust: 20, pressed: 2},
			"coming and going":   {gust: 20, pressed: 0.02},
			"another pin jumped": {gust: 5, pressed: -2, jump: -80},
		} {
			f.seed, f.gone = seed, true
			if llr := f.llr(t); llr < 0 {
				t.Errorf("%s, seed %d: the line is gone, log-likelihood ratio %.1f", name, seed, llr)
			}
			f.gone = false
			if llr := f.llr(t); llr > -2.5 {
				t.Errorf("%s, seed %d: the line holds, log-likelihood ratio %.1f", name, seed, llr)
			}
		}
	}
}
