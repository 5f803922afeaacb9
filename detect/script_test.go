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
	words                  string // that its detail holds
	met                    bool
}

type script struct {
	count        int
	rate         float64
	step, noise  float64
	end          float64
	drumEvery    int    // seconds between readings of brakes and pay-out
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
	s := &script{count: 12, rate: 5, step: 0.5, noise: 0.6, end: 300, drumEvery: 1}
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
		case "drums-every":
			s.drumEvery = int(num(1))
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
			if len(w) > 8 {
				e.words = strings.Join(w[9:], " ")
			}
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
			if plan.Lines[i].MadeFast == mooring.Bitts || n%s.drumEvery != 0 {
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
			if !e.met && e.condition == name && e.line == c.Line && at >= e.from && at <= e.to && strings.Contains(c.Detail, e.words) {
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
