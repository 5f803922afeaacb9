package detect_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"hawser/detect/mooring"
)

// model is a ship on springs that goes to and fro and swings: linear, undamped
// in the answer to a parting, made from the plan by hand calculation (Newton's
// second law, k = MBL over breaking strain times length) and nothing of the
// detectors.
type model struct {
	plan       *mooring.Plan
	k, ux, uy  []float64
	extra      []func(t float64) float64 // load added to each line, kN
	surge      []func(t float64) float64
	sway, turn []func(t float64) float64 // m, rad
	gone       []float64                 // time at which a line parted, +Inf for never
	pin        []func(t, v float64) float64
	out        []func(t float64) float64
	set        []func(t float64) bool
	watch      func(t float64) float64
}

func newModel(p *mooring.Plan) *model {
	n := len(p.Lines)
	m := &model{plan: p, k: make([]float64, n), ux: make([]float64, n), uy: make([]float64, n),
		extra: make([]func(float64) float64, n), gone: make([]float64, n), pin: make([]func(float64, float64) float64, n),
		out: make([]func(float64) float64, n), set: make([]func(float64) bool, n), watch: func(float64) float64 { return 1 }}
	for i := range p.Lines {
		l := &p.Lines[i]
		dx, dy, dz := l.Hook.X-l.Fairlead.X, l.Hook.Y-l.Fairlead.Y, l.Hook.Z-l.Fairlead.Z
		length := math.Sqrt(dx*dx + dy*dy + dz*dz)
		m.k[i] = l.MBLkN / (0.12 * (length + l.InboardM)) // polyester breaks at 12 %, from memory
		m.ux[i], m.uy[i] = dx/length, dy/length
		m.extra[i] = func(float64) float64 { return 0 }
		m.pin[i] = func(_, v float64) float64 { return v }
		m.out[i] = func(float64) float64 { return 0 }
		m.set[i] = func(float64) bool { return true }
		m.gone[i] = math.Inf(1)
	}
	return m
}

// tension is the true load of line i.
func (m *model) tension(i int, t float64) float64 {
	v := m.plan.Lines[i].PretensionKN + m.extra[i](t)
	sum := func(fs []func(float64) float64) (x float64) {
		for _, f := range fs {
			x += f(t)
		}
		return x
	}
	v -= m.k[i] * (m.ux[i]*sum(m.surge) + m.uy[i]*sum(m.sway) + m.lever(i)*sum(m.turn))
	v = math.Max(v, 0)
	if since := t - m.gone[i]; since > 0 {
		v *= math.Max(0, 1-since/0.3)
	}
	return v
}

func (m *model) lever(i int) float64 {
	f := m.plan.Lines[i].Fairlead
	return f.X*m.uy[i] - f.Y*m.ux[i]
}

// part lets line i go at time at: what it pulled with now moves the ship.
func (m *model) part(i int, at float64) {
	pull := m.tension(i, at)
	mass := m.plan.Ship.DisplacementT
	inertia := mass * math.Pow(0.25*m.plan.Ship.LoaM, 2)
	var kx, ky, kt float64
	for j := range m.k {
		if j != i {
			kx += m.k[j] * m.ux[j] * m.ux[j]
			ky += m.k[j] * m.uy[j] * m.uy[j]
			kt += m.k[j] * m.lever(j) * m.lever(j)
		}
	}
	swing := func(force, k, mass float64) func(float64) float64 {
		w := math.Sqrt(k / mass)
		return func(t float64) float64 {
			if t < at {
				return 0
			}
			return force / k * (1 - math.Cos(w*(t-at)))
		}
	}
	m.surge = append(m.surge, swing(-pull*m.ux[i], kx, 1.1*mass))
	m.sway = append(m.sway, swing(-pull*m.uy[i], ky, 1.8*mass))
	m.turn = append(m.turn, swing(-pull*m.lever(i), kt, 1.6*inertia))
	m.gone[i] = at
}

func ramp(at, by, in float64) func(float64) float64 {
	return func(t float64) float64 {
		if in <= 0 {
			in = 1e-9
		}
		return by * math.Min(math.Max((t-at)/in, 0), 1)
	}
}

func add(f, g func(float64) float64) func(float64) float64 {
	return func(t float64) float64 { return f(t) + g(t) }
}

// do carries out one order.
func (m *model) do(o *order) error {
	w := o.words
	num := func(i int) float64 {
		if i >= len(w) {
			return math.NaN()
		}
		v, err := strconv.ParseFloat(w[i], 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	at := o.at
	if len(o.lines) == 0 {
		switch strings.Join(w[:min(2, len(w))], " ") {
		case "ship moves": // off X m in S s
			m.sway = append(m.sway, ramp(at, num(3), num(6)))
		case "ship sways": // X m every S s
			amp, period := num(2), num(5)
			m.sway = append(m.sway, func(t float64) float64 {
				return ramp(at, amp, 20)(t) * math.Sin(2*math.Pi*(t-at)/period)
			})
		case "watch off", "watch on":
			before, v := m.watch, map[bool]float64{true: 1}[w[1] == "on"]
			m.watch = func(t float64) float64 {
				if t >= at {
					return v
				}
				return before(t)
			}
		default:
			return fmt.Errorf("%s: %q is no order to the ship", o.where, strings.Join(w, " "))
		}
		return nil
	}
	for _, id := range o.lines {
		i := m.plan.Line(id)
		if i < 0 {
			return fmt.Errorf("%s: the ship has no line %s", o.where, id)
		}
		before, outBefore, setBefore := m.pin[i], m.out[i], m.set[i]
		later := func(f func(t, v float64) float64) {
			m.pin[i] = func(t, v float64) float64 {
				if t >= at {
					return f(t, v)
				}
				return before(t, v)
			}
		}
		switch w[0] {
		case "to": // X kN in S s
			m.extra[i] = add(m.extra[i], ramp(at, num(1)-m.tension(i, at), num(4)))
		case "parts":
			m.part(i, at)
		case "pays": // out X m in S s: the drum alone, its load by another order
			m.out[i] = add(outBefore, ramp(at, num(2), num(5)))
		case "brake": // off, on
			off := w[1] == "off"
			m.set[i] = func(t float64) bool {
				if t >= at {
					return !off
				}
				return setBefore(t)
			}
		case "silent", "bad":
			v := math.NaN()
			if w[0] == "silent" {
				v = math.Inf(1)
			}
			later(func(float64, float64) float64 { return v })
		case "stuck":
			v := m.tension(i, at)
			later(func(float64, float64) float64 { return v })
		case "reads": // X kN more
			by := num(1)
			later(func(_, v float64) float64 { return v + by })
		case "drifts": // X kN in S s
			f := ramp(at, num(1), num(4))
			later(func(t, v float64) float64 { return v + f(t) })
		case "spikes": // X kN every S s
			by, every := num(1), num(4)
			later(func(t, v float64) float64 {
				if math.Mod(t-at, every) < 0.19 {
					return v + by
				}
				return v
			})
		case "well":
			later(func(_, v float64) float64 { return v })
		case "works": // X kN every S s: a load of its own, to and fro
			amp, period := num(1), num(4)
			m.extra[i] = add(m.extra[i], func(t float64) float64 {
				return ramp(at, amp, 1)(t) * math.Sin(2*math.Pi*(t-at)/period)
			})
		default:
			return fmt.Errorf("%s: %q is no order to a line", o.where, strings.Join(w, " "))
		}
	}
	return nil
}
