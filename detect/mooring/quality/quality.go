// Package quality looks at a mooring plan as a mooring master would before the
// ship is made fast, and remarks on what is poorly arranged, set or stated. Each
// rule is one function with its figure and its source. A rule looks only at what
// the plan states: chafe, wear, the layers on a drum and the strength of what is
// ashore are not in a plan, so a plan without a remark is not thereby a good
// mooring. It is pure, and never refuses a plan.
package quality

import (
	"cmp"
	"slices"

	"hawser/detect/mooring"
)

// Remark is one thing that a rule found.
type Remark struct {
	Rule     Rule
	Severity Severity
	Lines    []string // ids, in the plan's order; none where it is the mooring as a whole
	Text     string   // what is found, with figures
}

// Rule is what is looked at, the figure it is held to and where that is from.
type Rule struct {
	Name   string
	Says   string
	Source string
}

// Severity is how much a remark matters.
type Severity uint8

const (
	Note    Severity = iota + 1 // worth a look, or a figure that is missing or doubtful
	Poor                        // holds less well than it should
	Serious                     // can part a line, hold nothing, or make every figure wrong
)

// String is the severity's word.
func (s Severity) String() string {
	return [...]string{"unknown", "note", "poor", "serious"}[min(s, Serious)]
}

// Water is how far the level goes, metres above chart datum.
type Water struct{ LowM, HighM float64 }

// Check is what there is to remark, the most serious first and otherwise in the
// order of the rules. Where water is nil the level is taken to stay at the
// plan's reference.
func Check(p *mooring.Plan, water *Water) []Remark {
	s := newScene(p, water)
	var all []Remark
	for _, r := range rules() {
		for _, remark := range r.look(s) {
			remark.Rule = r.Rule
			all = append(all, remark)
		}
	}
	slices.SortStableFunc(all, func(a, b Remark) int { return -cmp.Compare(a.Severity, b.Severity) })
	return all
}

// rule is a Rule and how it looks at a mooring.
type rule struct {
	Rule
	look func(*scene) []Remark
}

// rules in the order in which a mooring is looked over: where lines lead, what
// they are, how they are set, how they hold together, what the water does.
func rules() []rule {
	return slices.Concat(leads(), angles(), strengths(), brakes(), groups(), balances(), waters(), statements())
}
