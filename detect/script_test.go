package detect_test

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
)

// Condition cases are text that one who knows moorings can read and add to; how
// they are written is told in testdata/README.txt.

// order is one line of a case.
type order struct {
	where string // file:line
	at    float64
	lines []string // empty for the ship or the berth
	words []string
}

// expectation is an "expect" line of a case.
type expectation struct {
	where, condition, line string
	from, to               float64
	met                    bool
}

type script struct {
	count        int
	rate         float64
	step, noise  float64
	end          float64
	unfitted     string // a line without a load pin
	bitts        []string
	orders       []order
	expectations []expectation
}

func parseScript(path string) (*script, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	s := &script{count: 12, rate: 5, step: 0.5, noise: 0.6, end: 300}
	in := bufio.NewScanner(f)
	for n := 1; in.Scan(); n++ {
		line, _, _ := strings.Cut(in.Text(), "#")
		w := strings.Fields(line)
		if len(w) == 0 {
			continue
		}
		where := fmt.Sprintf("%s:%d", filepath.Base(path), n)
		var bad error
		num := func(i int) float64 {
			if i >= len(w) {
				bad = fmt.Errorf("%s: a number is missing at the end", where)
				return 0
			}
			v, err := strconv.ParseFloat(w[i], 64)
			if err != nil {
				bad = fmt.Errorf("%s: %q where a number was expected", where, w[i])
			}
			return v
		}
		switch w[0] {
		case "lines":
			s.count = int(num(1))
		case "rate":
			s.rate = num(1)
		case "noise":
			s.noise, s.step = num(1), num(3)
		case "end":
			s.end = num(1)
		case "bitts":
			s.bitts = append(s.bitts, w[1:]...)
		case "no-pin":
			s.unfitted = w[1]
		case "at":
			o := order{where: where, at: num(1)}
			rest := w[2:]
			if rest[0] == "line" {
				o.lines, rest = strings.Split(rest[1], ","), rest[2:]
			}
			o.words = rest
			s.orders = append(s.orders, o)
		case "expect":
			e := expectation{where: where, condition: w[1], line: strings.Trim(w[3], "-")}
			e.from, e.to = num(5), num(7)
			s.expectations = append(s.expectations, e)
		default:
			bad = fmt.Errorf("%s: %q is no order", where, w[0])
		}
		if bad != nil {
			return nil, bad
		}
	}
	return s, in.Err()
}

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
	var ky, kt float64
	for j := range m.k {
		if j != i {
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

// facts are the readings of a case.
func (s *script) facts(t *testing.T) (*mooring.Plan, []fact) {
	plan := ship(s.count)
	for i := range plan.Lines {
		plan.Lines[i].Instrumented = plan.Lines[i].ID != s.unfitted
		for _, id := range s.bitts {
			if plan.Lines[i].ID == id {
				plan.Lines[i].MadeFast, plan.Lines[i].BrakeRenderKN = mooring.Bitts, 0
			}
		}
	}
	m := newModel(plan)
	for i := range s.orders {
		if err := m.do(&s.orders[i]); err != nil {
			t.Fatal(err)
		}
	}
	r := rand.New(rand.NewPCG(7, 7))
	var facts []fact
	nanos := func(x float64) int64 { return start + int64(math.Round(x*1e3))*1e6 }
	for n := range int(s.end * s.rate) {
		x := float64(n) / s.rate
		for i := range plan.Lines {
			if !plan.Lines[i].Instrumented {
				continue
			}
			v := m.tension(i, x) + s.noise*r.NormFloat64()
			if v = m.pin[i](x, v); math.IsInf(v, 0) {
				continue
			}
			facts = append(facts, fact{tension(plan.Lines[i].ID), nanos(x), math.Round(v/s.step) * s.step})
		}
	}
	for n := range int(s.end) {
		x := float64(n) + 0.25
		facts = append(facts, fact{underWatch(), nanos(x), m.watch(x)})
		for i := range plan.Lines {
			if plan.Lines[i].MadeFast == mooring.Bitts {
				continue
			}
			set := 0.0
			if m.set[i](x) {
				set = 1
			}
			facts = append(facts, fact{brake(plan.Lines[i].ID), nanos(x), set},
				fact{payout(plan.Lines[i].ID), nanos(x), math.Round(1e3*(m.out[i](x)+0.001*r.NormFloat64())) / 1e3})
		}
	}
	return plan, facts
}

func TestConditionCases(t *testing.T) {
	paths, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(paths) < 2 {
		t.Fatalf("cases: %v, %v", paths, err)
	}
	for _, path := range paths {
		if filepath.Base(path) == "README.txt" {
			continue
		}
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			t.Parallel()
			s, err := parseScript(path)
			if err != nil {
				t.Fatal(err)
			}
			plan, facts := s.facts(t)
			changes, _ := replay(plan, facts)
			judge(t, s, changes)
		})
	}
}

// judge holds every change against what was expected: each expectation once,
// and nothing else raised.
func judge(t *testing.T, s *script, changes []detect.Change) {
	t.Helper()
	for _, c := range changes {
		at := float64(c.Time-start) / 1e9
		state := ""
		if !c.Raised {
			state = "clear-of-"
		}
		name, found := state+c.Condition.String(), !c.Raised
		for k := range s.expectations {
			e := &s.expectations[k]
			if !e.met && e.condition == name && e.line == c.Line && at >= e.from && at <= e.to {
				e.met, found = true, true
				break
			}
		}
		if !found {
			t.Errorf("at %.1f s, not expected: %s on %q: %s", at, name, c.Line, c.Detail)
		}
	}
	for _, e := range s.expectations {
		if !e.met {
			t.Errorf("%s: expected %s on %q between %g and %g s; told:\n%s", e.where, e.condition, e.line, e.from, e.to, text(changes))
		}
	}
}
