package study_test

import (
	"flag"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"hawser/detect"
	"hawser/ingest/simulate"
)

var (
	studyHours = flag.Float64("study.hours", 0, "study this many hours of berths instead of the short set")
	studySeed  = flag.Uint64("study.seed", 1, "first seed of the longer study")
	studyKind  = flag.String("study.kind", "", "only kinds of scene whose name holds this")
	studyScene = flag.Uint64("study.scene", 0, "only the scene of this seed, of the kind named by -study.kind")
	studyQuiet = flag.Float64("study.quiet", 0, "study this many line-hours of each kind of quiet weather instead")
	studyPairs = flag.Float64("study.pairs", 0, "study this many hours of scenes in which two things happen instead")
	studyAll   = flag.Bool("study.each", false, "tell each alarm that was wrong, missed or told twice")
)

// outcome is what came of a scene.
type outcome struct {
	scene  *scene
	result result
	unseen []unseenParting
	note   string // why it does not count, "" where it does
}

// run simulates a scene, puts it through the detectors and scores it.
func run(c *scene) outcome {
	unseen := unseenPartings(c)
	t, alarms, err := watch(c, func(b *detect.Berth, at float64) { look(unseen, b, at) })
	if err != nil {
		return outcome{scene: c, note: err.Error()}
	}
	if most := max(t.most(c.ship), t.most(c.plan)); !(most <= 0.98) { // NaN: she broke away
		return outcome{scene: c, note: "a line was pulled to its breaking load"}
	}
	truth, err := judgeScene(c, t)
	if err != nil {
		return outcome{scene: c, note: err.Error()}
	}
	out := outcome{scene: c, result: score(truth, alarms), unseen: unseen}
	settle(unseen, t, truth)
	return out
}

// watch is the scene as it happened and what was raised. look is shown the detectors after
// each block, and up to which second of the scene they have come.
func watch(c *scene, look func(b *detect.Berth, at float64)) (*track, []alarm, error) {
	t := newTrack(len(c.plan.Lines))
	changes, err := changesIn(c, t.observe, look)
	if err != nil {
		return nil, nil, err
	}
	t.close()
	var alarms []alarm
	for _, ch := range changes {
		if ch.Raised {
			alarms = append(alarms, alarm{at: ch.When().Sub(c.story.Start).Seconds(), condition: ch.Condition, line: ch.Line,
				group: ch.Group, detail: ch.Detail})
		}
	}
	return t, alarms, nil
}

// changesIn is what the detectors say of a scene, seen as it happens; look is as for watch.
func changesIn(c *scene, seen func(simulate.State), look func(b *detect.Berth, at float64)) (changes []detect.Change, err error) {
	sim, err := simulate.New(c.ship, c.story)
	if err != nil {
		return nil, err
	}
	sim.Observe(seen)
	b := detect.New(c.plan)
	for block := sim.Next(); block != nil; block = sim.Next() {
		for i := range block.Series {
			b.Push("study", &block.Series[i])
		}
		changes = b.Advance("study", block.CompleteUntil, changes)
		look(b, time.Unix(0, block.CompleteUntil).Sub(c.story.Start).Seconds())
	}
	return changes, nil
}

// without is what would have happened without event e of the scene.
func without(c *scene, e int) (*track, error) {
	story := c.story
	story.Events = slices.Delete(slices.Clone(story.Events), e, e+1)
	sim, err := simulate.New(c.ship, story)
	if err != nil {
		return nil, err
	}
	t := newTrack(len(c.plan.Lines))
	sim.Observe(t.observe)
	for sim.Next() != nil {
	}
	t.close()
	return t, nil
}

// sum is a study's result.
type sum struct {
	total       result
	byKind      map[string]*result
	scenes      int
	notes       map[string]int
	over, under tally // partings that no pin shows, of loads over what the detectors said and under it
}

func (s *sum) add(o *outcome, tell func(string)) {
	if o.note != "" {
		s.notes[o.note]++
		return
	}
	s.scenes++
	s.total.add(&o.result)
	for i := range o.unseen {
		s.addUnseen(&o.unseen[i])
	}
	if s.byKind[o.scene.kind] == nil {
		s.byKind[o.scene.kind] = &result{}
	}
	s.byKind[o.scene.kind].add(&o.result)
	r := &o.result
	say := func(what string, c detect.Condition, line string, at float64, detail string) {
		tell(fmt.Sprintf("%s: seed %d %q: %v line %s at %.1f s %s", what, o.scene.seed, o.scene, c, line, at, detail))
	}
	for _, a := range r.wrong {
		say("wrong", a.condition, a.line, a.at, a.detail)
	}
	for _, a := range r.chattered {
		say("again", a.condition, a.line, a.at, a.detail)
	}
	for _, e := range r.missed {
		say("missed", e.condition, e.line, e.onset, fmt.Sprintf("until %.1f s, %v", e.deadline, e.groups))
	}
}

// study runs scenes on every processor until feed ends.
func study(scenes []*scene, tell func(string)) *sum {
	s := &sum{byKind: map[string]*result{}, notes: map[string]int{}}
	outcomes := make([]outcome, len(scenes))
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				outcomes[i] = run(scenes[i])
				scenes[i].rng = nil
			}
		})
	}
	for i := range scenes {
		next <- i
	}
	close(next)
	wg.Wait()
	for i := range outcomes {
		s.add(&outcomes[i], tell)
	}
	return s
}

// recall is the share of events told in time, 1 for none.
func (t *tally) recall() float64 {
	if t.events == 0 {
		return 1
	}
	return float64(t.told) / float64(t.events)
}

// median sorts the delays and is their median, s, 0 for none.
func (t *tally) median() float64 {
	if len(t.delays) == 0 {
		return 0
	}
	slices.Sort(t.delays)
	return t.delays[len(t.delays)/2]
}

func (r *result) all() (t tally) {
	for _, c := range r.by {
		t.events += c.events
		t.told += c.told
		t.wrong += c.wrong
	}
	return t
}

func (s *sum) String() string {
	var w strings.Builder
	fmt.Fprintf(&w, "%d scenes\n%-24s %7s %7s %7s %7s %9s %9s\n", s.scenes, "condition", "events", "told", "recall", "false", "median s", "longest s")
	for _, c := range detect.Conditions() {
		t := s.total.by[c]
		if t == nil {
			continue
		}
		mid, most := t.median(), 0.0
		if n := len(t.delays); n > 0 {
			most = t.delays[n-1]
		}
		fmt.Fprintf(&w, "%-24s %7d %7d %7.3f %7d %9.1f %9.1f\n", c, t.events, t.told, t.recall(), t.wrong, mid, most)
	}
	t := s.total.all()
	fmt.Fprintf(&w, "%-24s %7d %7d %7.3f %7d\n", "all", t.events, t.told, t.recall(), t.wrong)
	fmt.Fprintf(&w, "%.1f line-hours, %.2f false alarms per 1,000 line-hours, chatter %d, late %d, neutral %d\n",
		s.total.lineHours, 1000*float64(t.wrong)/max(s.total.lineHours, 1e-9), s.total.chatter, s.total.late, s.total.neutral)
	fmt.Fprintf(&w, "partings that no pin shows, of loads over what LeastLosses says: %d of %d told; under it: %d of %d\n",
		s.over.told, s.over.events, s.under.told, s.under.events)
	for _, k := range slices.Concat(kinds(), quietKinds(), pairKinds()) {
		if r := s.byKind[k.name]; r != nil {
			t := r.all()
			fmt.Fprintf(&w, "  %-24s %4d of %4d told, %3d false, %3d chatter, %3d late in %.1f line-hours\n", k.name, t.told, t.events, t.wrong, r.chatter, r.late, r.lineHours)
		}
	}
	for note, n := range s.notes {
		fmt.Fprintf(&w, "  %d not counted: %s\n", n, note)
	}
	return w.String()
}

// scenes draws about so many minutes of scenes, in turn by kind.
func scenes(kinds []kind, minutes float64, seed uint64) (out []*scene) {
	for n := 0; minutes > 0; n++ {
		k := kinds[n%len(kinds)]
		if !strings.Contains(k.name, *studyKind) {
			minutes -= 0.01
			continue
		}
		for try := range uint64(50) {
			if c, ok := draw(k, seed+uint64(n)*1000+try); ok {
				out = append(out, c)
				minutes -= k.minutes
				break
			}
		}
	}
	return out
}

// quietly draws so many line-hours of scenes of a kind.
func quietly(k kind, lineHours float64, seed uint64) (out []*scene) {
	for n := uint64(0); lineHours > 0; n++ {
		if c, ok := draw(k, seed+n); ok {
			out = append(out, c)
			for _, l := range c.plan.Lines {
				if l.Instrumented {
					lineHours -= k.minutes / 60
				}
			}
		}
	}
	return out
}

// ofKind is a line on what came of one kind, of what was false of each condition.
func (s *sum) ofKind(name string) string {
	var w strings.Builder
	wrong := s.total.all().wrong
	fmt.Fprintf(&w, "%-14s %3d scenes %6.0f line-hours %3d false, %6.2f in 1,000 line-hours; %d chatter", name, s.scenes, s.total.lineHours, wrong,
		1000*float64(wrong)/max(s.total.lineHours, 1e-9), s.total.chatter)
	for _, c := range detect.Conditions() {
		if n := s.total.of(c).wrong; n > 0 {
			fmt.Fprintf(&w, "; %v %d", c, n)
		}
	}
	return w.String()
}

// floor is what the short set must reach, condition by condition. What is asked of
// detection at length is a recall of 0.97 over all and 0.90 of each condition, one
// false alarm at most in 1,000 line-hours, and no chatter; the floors say where it
// stands, and rise with it. Unseen partings in gusts fall far short: what the ship
// then does is drowned in what the wind does. So is, in a swell or where no mast
// tells the wind, what she does for one pin in seven that dies. Of the thirteen slips one
// is of a drum that nobody reads, in a swell in which lines snatch.
var floor = map[detect.Condition]float64{
	detect.LineParted: 0.97, detect.OverLimit: 0.97, detect.BrakeSlip: 0.92, detect.Redistribution: 0.5, detect.SnapLoad: 0.97,
	detect.ApproachingLimit: 0.97, detect.Imbalance: 0.97, detect.SlackLine: 0.97, detect.SensorFault: 0.97,
}

// mostDelay is the most that the median delay in the short set may be, s: half of what
// detection is given. A line over its limit is to be told 3 s after, and is.
var mostDelay = map[detect.Condition]float64{
	detect.LineParted: 1.5, detect.OverLimit: 3.1, detect.BrakeSlip: 5, detect.SnapLoad: 1.5, detect.Imbalance: 75, detect.SlackLine: 75,
}

const (
	floorAll    = 0.95
	mostWrong   = 4.5 // false alarms in 1,000 line-hours
	mostChatter = 0
)

// TestStudy scores detection on ships, weather and faults drawn by lot. The
// short set is always the same; -study.hours draws a longer one, which is told
// and held against no floor: fewer events than some hundreds of a condition say
// little of a tenth.
func TestStudy(t *testing.T) {
	tell := func(line string) {
		if *studyAll {
			t.Log(line)
		}
	}
	if *studyQuiet > 0 {
		for _, k := range stillKinds() {
			t.Log("\n" + study(quietly(k, *studyQuiet, *studySeed*1e6+7e5), tell).ofKind(k.name))
		}
		return
	}
	if *studyHours > 0 || *studyScene > 0 || *studyPairs > 0 {
		t.Log("\n" + study(chosen(t), tell).String())
		return
	}
	s := study(append(scenes(kinds(), 525, 1e6), scenes(quietKinds(), 400, 1.5e6)...), tell)
	t.Log("\n" + s.String())
	for _, c := range detect.Conditions() {
		if r := s.total.of(c); r.recall() < floor[c] {
			t.Errorf("%v: %d of %d told, the floor is %g", c, r.told, r.events, floor[c])
		}
		if most, ok := mostDelay[c]; ok && s.total.of(c).median() > most {
			t.Errorf("%v: told after %.1f s in the median, at most %g are borne", c, s.total.of(c).median(), most)
		}
	}
	all := s.total.all()
	if all.recall() < floorAll {
		t.Errorf("%d of %d told, the floor is %g", all.told, all.events, floorAll)
	}
	if rate := 1000 * float64(all.wrong) / s.total.lineHours; rate > mostWrong {
		t.Errorf("%.1f false alarms in 1,000 line-hours, at most %g are borne", rate, mostWrong)
	}
	if s.total.chatter > mostChatter {
		t.Errorf("%d alarms told again, at most %d are borne", s.total.chatter, mostChatter)
	}
}

// chosen is what the flags ask for.
func chosen(t *testing.T) []*scene {
	if *studyScene == 0 {
		if *studyPairs > 0 {
			return scenes(pairKinds(), 60**studyPairs, *studySeed*1e6)
		}
		half := 30 * *studyHours // minutes
		return append(scenes(kinds(), half, *studySeed*1e6), scenes(quietKinds(), half, *studySeed*1e6+5e5)...)
	}
	for _, k := range slices.Concat(kinds(), quietKinds(), pairKinds()) {
		if k.name == *studyKind {
			if c, ok := draw(k, *studyScene); ok {
				t.Logf("%+v\n%+v", *c.plan, c.story)
				return []*scene{c}
			}
		}
	}
	t.Fatalf("no scene %d of kind %q", *studyScene, *studyKind)
	return nil
}
