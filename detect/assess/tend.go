package assess

import (
	"cmp"
	"math"
	"slices"

	"hawser/detect/mooring"
)

// Action is one line worked by its winch, or on bitts by hand.
type Action struct {
	Line   int
	PayOut float64 // metres of unworked rope paid out; negative is heaved in
	FromKN float64 // the line's load before
	ToKN   float64 // the load to work it to
	After  State   // the mooring when it is done
}

// Concern is what keeps a line from lying quiet.
type Concern uint8

// The concerns, the graver first.
const (
	None   Concern = iota
	Over           // at the approach load or beyond
	Slack          // hangs while the rest of its group hold
	Uneven         // carries much more than the rest of its group
)

var concernNames = [...]string{None: "none", Over: "over", Slack: "slack", Uneven: "uneven"}

// String is the word in tables and JSON.
func (c Concern) String() string { return concernNames[c] }

// Advice is how to tend the mooring.
type Advice struct {
	Before  State
	Actions []Action // in order
	// Concerns is what is left when all is done, by line: None everywhere where the
	// advice settles the mooring.
	Concerns []Concern
	// Bitts says that lines on bitts have to be worked.
	Bitts bool
}

// Settles says that nothing is left to tend when the actions are done.
func (a *Advice) Settles() bool {
	return !slices.ContainsFunc(a.Concerns, func(c Concern) bool { return c != None })
}

const (
	// drivePull is the largest share of MBL to which a winch heaves: rated pull is
	// 22 to 33 % of ship design MBL, by the winch brake test forms that follow MEG 4.
	drivePull = 0.33
	// beam is how many part-done advices are kept at each action.
	beam = 8
	// onTheWay is in how many steps each action is looked at.
	onTheWay = 4
	// holding is the smallest load to work a line to, of MBL: less is hanging.
	holding = 0.04
	// mostTries bounds the states looked at, which bounds the time: about a second.
	mostTries = 12_000
	// least is the smallest change of load worth an action, of MBL.
	least = 0.02
)

// Tend looks for the fewest actions after which every line is below its approach
// load, none hangs slack and no group is uneven, such that on the way no line
// passes its working load limit or its brake's rendering load, and one that is past
// the first already never carries more than 0.02 of MBL over what it did at the
// start; of ways that do as well, the one that leaves the hardest loaded line the
// least. Where a line has slipped, the others of its group hold her in its place: none
// of them is eased that is not at its approach load (common practice, no source). Lines
// to be left alone are not worked. It tries every other line with a few loads each, one
// action, then two, and keeps the best few; fewer actions than those it finds may exist,
// but none in its list can be left out. Lines on bitts are worked only where winches
// alone do not settle the mooring. The error is that of the ship at rest as she is.
func (m *Mooring) Tend(c Conditions) (Advice, error) {
	start, err := m.Steady(c)
	if err != nil {
		return Advice{}, err
	}
	return m.tend(c, start), nil
}

func (m *Mooring) tend(c Conditions, start State) Advice {
	t := tending{rest: m.rest(), force: m.Force(c), start: start}
	first := &course{lengths: m.lengths, state: start, cost: t.cost(&start)}
	best := t.search(first, false)
	if best.cost > 0 {
		if withBitts := t.search(first, true); withBitts.cost < best.cost {
			best = withBitts
		}
	}
	best = t.prune(first, best)
	out := Advice{Before: start, Actions: best.actions, Concerns: t.concerns(&best.state)}
	for _, a := range best.actions {
		out.Bitts = out.Bitts || m.plan.Lines[a.Line].MadeFast == mooring.Bitts
	}
	return out
}

// tending is one search for advice.
type tending struct {
	*rest
	force mooring.Force
	start State
	tries int
}

// course is a mooring with some actions done.
type course struct {
	actions []Action
	lengths []float64
	before  *State // its last action
	state   State
	cost    float64 // 0 where nothing is left to tend
	most    float64 // the hardest loaded line's share of its working load limit
}

// search tries one action more at a time.
func (t *tending) search(first *course, bitts bool) *course {
	best, kept := first, []*course{first}
	t.tries = 0
	for range len(t.m.plan.Lines) + 2 { // who needs more is to moor anew
		if best.cost == 0 || t.tries >= mostTries {
			break
		}
		var next []*course
		for _, from := range kept {
			next = append(next, t.further(from, bitts)...)
		}
		slices.SortStableFunc(next, func(a, b *course) int { return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.most, b.most)) })
		kept = t.allowed(next)
		if len(kept) == 0 || kept[0].cost >= best.cost {
			break
		}
		best = kept[0]
	}
	return best
}

// allowed is the first few of courses in order of cost whose last action passes
// no limit on its way. Courses that come to the same state are one.
func (t *tending) allowed(courses []*course) []*course {
	var kept []*course
	for _, c := range courses {
		if len(kept) == beam {
			break
		}
		if len(kept) > 0 && math.Abs(kept[len(kept)-1].cost-c.cost) < 1e-9 && math.Abs(kept[len(kept)-1].most-c.most) < 1e-9 {
			continue
		}
		if t.safe(c) {
			kept = append(kept, c)
		}
	}
	return kept
}

// further is a course with each action more.
func (t *tending) further(from *course, bitts bool) []*course {
	var out []*course
	for i := range t.m.plan.Lines {
		if !t.m.fast(i) || slices.Contains(t.m.alone, i) || t.m.plan.Lines[i].MadeFast == mooring.Bitts && !bitts {
			continue
		}
		for _, target := range t.targets(from, i) {
			if next, ok := t.work(from, i, target); ok {
				out = append(out, next)
			}
		}
	}
	return out
}

// targets are the loads to which line i may be worked: even with its group, well
// below its approach load, its pretension, and what helps its neighbours.
func (t *tending) targets(from *course, i int) []float64 {
	l := &t.m.plan.Lines[i]
	rest, n := t.m.restShare(i, from.state.TensionKN)
	own := from.state.TensionKN[i]
	holds := own < t.m.approach(i) && slices.ContainsFunc(t.m.slipped, func(k int) bool { return k != i && t.m.plan.Lines[k].Group == l.Group })
	even := rest * l.MBLkN
	all := []float64{l.PretensionKN, 0.9 * t.m.approach(i), 0.6 * t.m.approach(i)}
	if n > 0 {
		all = append(all, even, (even*float64(n)+own)/float64(n+1))
	}
	var out []float64
	for _, kN := range all {
		heaves := kN > own
		switch {
		case math.Abs(kN-own) < least*l.MBLkN,
			kN >= t.m.approach(i) || kN < holding*l.MBLkN,
			heaves && kN > drivePull*l.MBLkN,
			!heaves && holds,
			slices.ContainsFunc(out, func(x float64) bool { return math.Abs(x-kN) < least*l.MBLkN }):
		default:
			out = append(out, kN)
		}
	}
	return out
}

// work is a course with line i worked to a load.
func (t *tending) work(from *course, i int, kN float64) (*course, bool) {
	t.tries++
	lengths := slices.Clone(from.lengths)
	s, err := t.worked(t.force, lengths, i, kN, from.state.Pose)
	if err != nil {
		return nil, false
	}
	a := Action{Line: i, PayOut: lengths[i] - from.lengths[i], FromKN: from.state.TensionKN[i], ToKN: kN, After: s}
	return &course{append(slices.Clip(from.actions), a), lengths, &from.state, s, t.cost(&s), t.most(&s)}, true
}

// most is the hardest loaded line's share of its working load limit.
func (t *tending) most(s *State) float64 {
	most := 0.0
	for i, kN := range s.TensionKN {
		most = max(most, kN/t.m.bounds[i].working)
	}
	return most
}

// safe says that on the way through a course's last action no line passes a
// limit.
func (t *tending) safe(c *course) bool {
	a := &c.actions[len(c.actions)-1]
	lengths := slices.Clone(c.lengths)
	pose := c.state.Pose
	for k := 1; k <= onTheWay; k++ {
		lengths[a.Line] = c.lengths[a.Line] - a.PayOut*float64(onTheWay-k)/onTheWay
		s, err := t.still(t.force, lengths, pose)
		if err != nil || !t.passesNone(c.before, &s) {
			return false
		}
	}
	return true
}

// passesNone says that no line passes its working load limit or its brake's
// rendering load, and that none that is past its working load limit has risen by
// more than a little since the start: easing one line always loads its neighbours.
func (t *tending) passesNone(before, now *State) bool {
	for i, kN := range now.TensionKN {
		b := &t.m.bounds[i]
		was := before.TensionKN[i]
		if kN >= b.working && was < b.working || kN >= b.render && was < b.render ||
			kN >= b.working && kN > t.start.TensionKN[i]+least*t.m.plan.Lines[i].MBLkN {
			return false
		}
	}
	return true
}

// cost is what is left to tend, 0 for nothing. Load over the approach load counts
// four times what slack and unevenness do.
func (t *tending) cost(s *State) float64 {
	const grave = 4
	var sum float64
	for i, kN := range s.TensionKN {
		l := &t.m.plan.Lines[i]
		if over := (kN - t.m.approach(i)) / l.MBLkN; over >= 0 {
			sum += grave * (over + least)
		}
		if t.m.slack(i, s.TensionKN) {
			sum += float64(t.m.plan.Limits.SlackFraction) + least - kN/l.MBLkN
		}
		if u := t.m.uneven(i, s.TensionKN); u > 0 {
			sum += u + least
		}
	}
	return sum
}

func (t *tending) concerns(s *State) []Concern {
	out := make([]Concern, len(s.TensionKN))
	for i, kN := range s.TensionKN {
		switch {
		case kN >= t.m.approach(i):
			out[i] = Over
		case t.m.slack(i, s.TensionKN):
			out[i] = Slack
		case t.m.uneven(i, s.TensionKN) > 0:
			out[i] = Uneven
		}
	}
	return out
}

// prune leaves out every action without which the rest do as well.
func (t *tending) prune(first, found *course) *course {
	for skip := 0; skip < len(found.actions); {
		if shorter, ok := t.again(first, found.actions, skip); ok && shorter.cost <= found.cost {
			found = shorter
			skip = 0
		} else {
			skip++
		}
	}
	return found
}

// again does the actions over, all but one, each to its load.
func (t *tending) again(from *course, actions []Action, skip int) (*course, bool) {
	for k, a := range actions {
		if k == skip {
			continue
		}
		next, ok := t.work(from, a.Line, a.ToKN)
		if !ok || !t.safe(next) {
			return nil, false
		}
		from = next
	}
	return from, true
}
