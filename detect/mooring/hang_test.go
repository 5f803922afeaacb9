package mooring

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// irvine is the elastic catenary of one even line, level pull and upright pull
// at its upper end: its level and upright extent, in kN and m, from its
// unstretched length, weight a metre and axial stiffness. Irvine, Cable
// Structures (1981), ch. 1, from memory.
func irvine(h, v, length, weight, ea float64) (x, z float64) {
	low := v - weight*length
	x = h/weight*(math.Asinh(v/h)-math.Asinh(low/h)) + h*length/ea
	z = h/weight*(math.Hypot(1, v/h)-math.Hypot(1, low/h)) + (v*length-weight*length*length/2)/ea
	return x, z
}

// ends is the load at the line's fairlead and at its hook, from the pull along
// the run, by the catenary: the upper end carries more of the weight.
func (l *Law) ends(s *Span, inboardM, unstretchedM, pullKN float64) (fairlead, hook float64) {
	h := l.hung(s, inboardM, unstretchedM)
	u := h.weight * h.chordM / (2 * pullKN)
	arc, _, _ := h.arc(pullKN)
	half := h.weight / 2 * s.LengthM * -s.Unit.Z // of the height between
	mean := h.weight / 2 * arc / math.Tanh(u)
	return mean + half, mean - half
}

func TestElasticCatenary(t *testing.T) {
	// Three lines solved from Irvine's equations; first the figures are put back
	// into them, then the law is held to them.
	for _, row := range []struct {
		name                      string
		x, z, length, kgPerM, eaN float64
		h, v, top, bottom         float64 // N
		within                    float64 // of the load
	}{
		{"wire", 49.6, 8, 50, 7.5, 70e6, 333454, 55622, 338061, 337476, 2e-4},
		{"fibre", 49.6, 8, 48, 3, 12e6, 553110, 89917, 560371, 0, 2e-4},
		{"sagging", 100, 0, 101, 20, 500e6, 39930.3, 9904.7, 41140.4, 41140.4, 2e-4},
	} {
		weight := row.kgPerM * 9.80665 / 1e3
		x, z := irvine(row.h/1e3, row.v/1e3, row.length, weight, row.eaN/1e3)
		near(t, row.name+" x", x, row.x, 1e-4)
		near(t, row.name+" z", z, row.z, 1e-3)

		law := Law{main: straight(row.eaN / 1e3)}
		law.main.kgPerM = row.kgPerM
		s := Span{LengthM: math.Hypot(row.x, row.z)}
		s.Unit = Point{X: row.x / s.LengthM, Z: -row.z / s.LengthM}
		pull, _ := law.hang(&s, 0, row.length, 0)
		level := pull * row.x / s.LengthM
		near(t, row.name+" level pull", level/(row.h/1e3), 1, row.within)
		top, bottom := law.ends(&s, 0, row.length, pull)
		near(t, row.name+" upper end", top/(row.top/1e3), 1, row.within)
		if row.bottom > 0 {
			near(t, row.name+" lower end", bottom/(row.bottom/1e3), 1, row.within)
		}
	}
}

func TestInextensibleCatenary(t *testing.T) {
	// A line of 101 m between level ends 100 m apart, 20 kg/m, that hardly
	// stretches: level pull 40,095.4 N, 41,300.7 N at the ends. The parabola has
	// 40,035.5 N.
	law := Law{main: straight(1e12)}
	law.main.kgPerM = 20
	s := Span{LengthM: 100, Unit: Point{X: 1}}
	pull, _ := law.hang(&s, 0, 101, 0)
	near(t, "level pull", pull, 40.0954, 1e-4)
	a, b := law.ends(&s, 0, 101, pull)
	near(t, "one end", a, 41.3007, 1e-4)
	near(t, "the other", b, 41.3007, 1e-4)
}

// anyHung draws a law with weight and a run it might lie in.
func anyHung(t *rapid.T) (Law, Span, float64) {
	law := anyLaw(t)
	law.main.kgPerM = rapid.Float64Range(0.3, 9).Draw(t, "kg/m")
	law.tail.kgPerM = rapid.Float64Range(0.3, 9).Draw(t, "tail kg/m")
	level := rapid.Float64Range(5, 150).Draw(t, "level")
	drop := rapid.Float64Range(-8, 15).Draw(t, "drop")
	s := Span{LengthM: math.Hypot(level, drop)}
	s.Unit = Point{Y: -level / s.LengthM, Z: -drop / s.LengthM}
	return law, s, rapid.Float64Range(0, 25).Draw(t, "inboard")
}

func TestHungLineIsItsOwnInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law, s, inboard := anyHung(t)
		tension := rapid.Float64Range(0, 1).Draw(t, "share") * law.main.mblKN
		unstretched := law.hungM(&s, inboard, tension)
		h := law.hung(&s, inboard, unstretched)
		tension = max(tension, h.weight*h.chordM) // its own weight, at least
		for _, from := range []float64{0, tension / 50, tension * 50, tension} {
			got, _ := law.hang(&s, inboard, unstretched, from)
			if math.Abs(got-tension) > 1e-7*law.main.mblKN {
				t.Fatalf("%g kN came back as %g, sought from %g", tension, got, from)
			}
		}
	})
}

func TestHungStiffnessIsTheSlopeOfThePull(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law, s, inboard := anyHung(t)
		tension := rapid.Float64Range(0.002, 0.6).Draw(t, "share") * law.main.mblKN
		unstretched := law.hungM(&s, inboard, tension)
		level, drop := s.LengthM*-s.Unit.Y, s.LengthM*-s.Unit.Z
		// The level pull, with the fairlead moved away on the level.
		pull := func(by float64) float64 {
			m := Span{LengthM: math.Hypot(level+by, drop)}
			m.Unit = Point{Y: -(level + by) / m.LengthM, Z: -drop / m.LengthM}
			f, _ := law.hang(&m, inboard, unstretched, 0)
			return f * (level + by) / m.LengthM
		}
		const h = 1e-6
		slope := (pull(h) - pull(-h)) / (2 * h)
		f, k := law.hang(&s, inboard, unstretched, 0)
		c2 := level * level / (s.LengthM * s.LengthM)
		want := f/s.LengthM + c2*(k-f/s.LengthM)
		if math.Abs(slope-want) > 1e-4*want {
			t.Fatalf("slope %g, stiffness %g", slope, want)
		}
	})
}

func TestWeightOnlyTightens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law, s, inboard := anyHung(t)
		light := law
		light.main.kgPerM, light.tail.kgPerM = 0, 0
		unstretched := (s.LengthM + inboard) * rapid.Float64Range(0.97, 1.2).Draw(t, "length")
		heavy, _ := law.hang(&s, inboard, unstretched, 0)
		none, _ := light.hang(&s, inboard, unstretched, 0)
		if !(heavy > none) {
			t.Fatalf("%g kN with weight, %g without", heavy, none)
		}
	})
}

func TestSlackLineHangs(t *testing.T) {
	// A line twice as long as its run, and one straight up and down: no overflow,
	// no push, the second without any pull.
	law := Law{main: straight(70e3)}
	law.main.kgPerM = 7
	s := Span{LengthM: 30, Unit: Point{X: 0.8, Z: -0.6}}
	pull, k := law.hang(&s, 0, 60, 0)
	if !(pull > 0 && pull < 7*9.80665/1e3*60 && k > 0 && k < 1) {
		t.Errorf("pull %g kN, stiffness %g", pull, k)
	}
	up := Span{LengthM: 30, Unit: Point{Z: -1}}
	if pull, _ := law.hang(&up, 0, 31, 0); pull != 0 {
		t.Errorf("hanging straight down it pulls %g kN", pull)
	}
}

func BenchmarkHang(b *testing.B) {
	law := NewLaw(&Plan{Lines: []Line{{Material: SteelWire, DiameterMM: 42, MBLkN: 1140,
		Tail: &Tail{Material: Polyamide, LengthM: 11, DiameterMM: 88, MBLkN: 1570}}}}, 0)
	s := Span{LengthM: 60, Unit: Point{Y: -0.98, Z: -0.2}}
	u := law.hungM(&s, 15, 160)
	for name, from := range map[string]float64{"cold": 0, "warm": 150} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if t, _ := law.hang(&s, 15, u, from); t < 159 {
					b.Fatal(t)
				}
			}
		})
	}
}
