package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/services/reckon"
)

// windDirections is how many directions the limits of wind are found for.
const windDirections = 72

// question is what is asked of a mooring, settled.
type question struct {
	assess.Question
	plan   *mooring.Plan
	source string        // of the loads
	left   mooring.Force // unbalanced by measured loads, held from then on

	wind, current           blow
	forecast                blow          // as --wind has it
	gusts                   bool          // wind is the half minutes of it
	waters                  assess.Waters // now
	levelGiven, draftsGiven bool          // by a flag or a recording
	// then is what a recording has of wind, water and drafts at the loads' time, by
	// which they are understood; the answers are for what the flags give.
	then  measuredIn
	shift float64 // added to the tide to meet a level that was given
	// heard is what the detectors, run over a recording, tell of the lines.
	heard reckon.Heard
	notes []string
}

// validate checks which flags go together.
func (f *assessFlags) validate(args []string) error {
	switch {
	case !f.at.IsZero() && len(args) == 0:
		return errors.New("--at: needs a recording after the flags")
	case f.at.IsZero() && len(args) == 1:
		return errors.New("a recording needs --at TIME")
	case !f.at.IsZero() && f.loads != "":
		return errors.New("--loads: loads come from a file or from a recording, not from both")
	case !f.wind.given && (f.windHeight.given || f.gusts):
		return errors.New("--wind-height and --gusts need --wind")
	case f.gusts && f.loads != "":
		return errors.New("--gusts: measured loads carry the wind that blew; give that")
	case f.gusts && f.work != "":
		return errors.New("--gusts: --work reckons with the gusts of --wind as it is")
	case !f.hours.given && (f.tide != "" || f.cargo != "" || !f.from.IsZero()):
		return errors.New("--tide, --cargo and --from need --hours")
	}
	return nil
}

// question settles flags and files.
func (f *assessFlags) question(args []string) (*question, error) {
	if err := needPlan(f.plan); err != nil {
		return nil, err
	}
	if err := f.validate(args); err != nil {
		return nil, usageError{err}
	}
	plan, _, err := planfile.Load(f.plan)
	if err != nil {
		return nil, err
	}
	q := &question{Question: assess.Question{Directions: windDirections, Tend: true}, plan: plan, current: f.current, source: "the plan's pretensions",
		waters: assess.Waters{LevelM: plan.Reference.WaterLevelM, DraftFwdM: plan.Reference.DraftFwdM,
			DraftAftM: plan.Reference.DraftAftM, DepthM: f.depth.value}}
	q.blowing(f)
	if len(plan.Fenders) == 0 {
		q.notes = append(q.notes, "The plan has no fenders: in these figures nothing keeps the ship off the quay.")
	}
	if q.Without, err = linesOf(plan, f.without); err != nil {
		return nil, usageError{fmt.Errorf("--without: %w", err)}
	}
	if f.work != "" {
		if q.Work, err = workOf(f.work); err != nil {
			return nil, usageError{fmt.Errorf("--work: %w", err)}
		}
	}
	loads, err := q.measured(f, args)
	if err != nil {
		return nil, err
	}
	if f.level.given {
		q.waters.LevelM, q.levelGiven = f.level.value, true
	}
	if f.draft.given {
		q.waters.DraftFwdM, q.waters.DraftAftM, q.draftsGiven = f.draft.fwd, f.draft.aft, true
	}
	if f.hours.given {
		c, start, err := f.course(plan)
		if err != nil {
			return nil, err
		}
		if err := q.follow(c, start, f.hours.value); err != nil {
			return nil, err
		}
	}
	q.settle(loads)
	return q, nil
}

// measured reads the loads that are given, NaN for each that is not.
func (q *question) measured(f *assessFlags, args []string) ([]float64, error) {
	switch {
	case f.loads != "":
		q.source, q.Measured = f.loads, true
		return readLoads(f.loads, q.plan)
	case f.at.IsZero():
		return noLoads(q.plan), nil
	}
	m, err := readMeans(args[0], q.plan, f.at.Time)
	if err != nil {
		return nil, err
	}
	q.source, q.Measured = "means over the minute before "+f.at.Format(time.RFC3339), true
	q.take(m)
	if f.gusts && !q.then.wind.given {
		return nil, usageError{errors.New("--gusts: the recording has no wind, and its loads carry the one that blew; give that")}
	}
	q.heard = m.heard()
	q.hearsay()
	loads := m.loads()
	for _, i := range q.heard.AtFault {
		loads[i] = math.NaN()
	}
	for _, i := range q.heard.Parted {
		loads[i] = 0
	}
	return loads, nil
}

// hearsay notes what the detectors tell that the answers rest on.
func (q *question) hearsay() {
	for _, n := range []struct {
		lines     []int
		one, many string
	}{
		{q.heard.Parted, "Line %s has parted, or may have, and counts for nothing.", "Lines %s have parted, or may have, and count for nothing."},
		{q.heard.Maybe, "Line %s may have parted instead: it is not worked.", "Lines %s may have parted instead: they are not worked."},
		{q.heard.AtFault, "The load pin of line %s is at fault: its load is not taken, and it is not worked.", "The load pins of lines %s are at fault: their loads are not taken, and they are not worked."},
		{q.heard.Slipped, "Line %s has slipped: have its brake or turns looked at before it is worked. The others of its group hold in its place and are not eased.",
			"Lines %s have slipped: have their brakes or turns looked at before they are worked. The others of their groups hold in their place and are not eased."},
	} {
		switch len(n.lines) {
		case 0:
		case 1:
			q.notes = append(q.notes, fmt.Sprintf(n.one, q.ids(n.lines)[0]))
		default:
			q.notes = append(q.notes, fmt.Sprintf(n.many, strings.Join(q.ids(n.lines), ", ")))
		}
	}
}

// blowing is the wind of the flags as the steady wind at 10 m to reckon with.
func (q *question) blowing(f *assessFlags) {
	q.wind, q.forecast, q.gusts = f.wind, f.wind, f.gusts
	if f.windHeight.given {
		q.wind.knots = mooring.WindAt10M(q.wind.knots, f.windHeight.value)
		q.notes = append(q.notes, fmt.Sprintf("The wind of %.0f kn at %.0f m is %.1f kn at 10 m.",
			f.wind.knots, f.windHeight.value, q.wind.knots))
	}
	if f.gusts {
		mean := q.wind.knots
		q.wind.knots = assess.Followed(mean)
		q.notes = append(q.notes, fmt.Sprintf("A mean over ten minutes of %.1f kn has half minutes of %.1f kn, which these figures are for.",
			mean, q.wind.knots))
	}
}

// take uses what a recording has of wind, water and drafts where no flag says it.
func (q *question) take(m *means) {
	speed, ok := m.of(reading.WindSpeed)
	from, ok2 := m.of(reading.WindDirection)
	if ok && ok2 {
		q.then.wind = blow{knots: speed / msPerKnot, deg: from, given: true}
		if !q.wind.given {
			q.wind = q.then.wind
		}
	}
	if v, ok := m.of(reading.WaterLevel); ok {
		q.waters.LevelM, q.levelGiven, q.then.level = v, true, &v
	}
	fwd, ok1 := m.of(reading.DraftFwd)
	aft, ok2 := m.of(reading.DraftAft)
	if ok1 && ok2 {
		q.waters.DraftFwdM, q.waters.DraftAftM, q.draftsGiven, q.then.drafts = fwd, aft, true, &[2]float64{fwd, aft}
	}
}

// settle makes the mooring and its conditions.
func (q *question) settle(loads []float64) {
	q.Conditions = q.in(q.wind, q.waters)
	if !q.Measured {
		q.Mooring = assess.New(q.plan)
		return
	}
	if n := known(loads); n < len(loads) {
		q.source += fmt.Sprintf(", of %d of %d lines", n, len(loads))
		q.notes = append(q.notes, "A line without a measured load is taken to carry its group's mean share, or the plan's pretension: 30 % more or less.")
	}
	wind, waters := q.then.of(q.wind, q.waters)
	if wind.knots != q.wind.knots || wind.deg != q.wind.deg || waters != q.waters {
		q.source += fmt.Sprintf(", in %s, water %.1f m, drafts %.1f m and %.1f m", wind.words(), waters.LevelM, waters.DraftFwdM, waters.DraftAftM)
		q.notes = append(q.notes, "The lines are as they were set then; all answers are for the wind, water and drafts given.")
	}
	when := q.in(wind, waters)
	if q.untold() {
		when.Untold = assess.Untold(q.plan, loads, when)
		q.Conditions.Untold = when.Untold
		q.notes = append(q.notes, fmt.Sprintf("Nobody tells the wind: by how tight the lines are it is taken to push %.0f kN off the quay; --wind 0@0 says that it is calm.",
			when.Untold.SwayKN))
	}
	q.Mooring, q.left = assess.Measured(q.plan, loads, when)
	q.Conditions.Other = q.Conditions.Other.Plus(q.left)
	q.Mooring.Part(q.heard.Parted...)
	q.Mooring.Slipped(q.heard.Slipped...)
	q.Mooring.LeaveAlone(slices.Concat(q.heard.AtFault, q.heard.Maybe)...)
}

// untold says that loads were measured in a wind that neither a flag nor the recording
// tells.
func (q *question) untold() bool { return q.Measured && !q.wind.given && !q.then.wind.given }

// in is a wind and waters, with the current that was given, as conditions.
func (q *question) in(wind blow, waters assess.Waters) assess.Conditions {
	c := assess.Conditions{WindMS: wind.knots * msPerKnot, WindFromDeg: wind.deg,
		CurrentMS: q.current.knots * msPerKnot, CurrentSetDeg: q.current.deg}
	waters.Put(&c, q.plan)
	return c
}

// measuredIn is what was measured beside the loads.
type measuredIn struct {
	wind   blow
	level  *float64
	drafts *[2]float64
}

// of is the wind and the waters of the loads: as measured, and where nobody measured
// as asked.
func (t *measuredIn) of(wind blow, waters assess.Waters) (blow, assess.Waters) {
	if t.wind.given {
		wind = t.wind
	}
	if t.level != nil {
		waters.LevelM = *t.level
	}
	if t.drafts != nil {
		waters.DraftFwdM, waters.DraftAftM = t.drafts[0], t.drafts[1]
	}
	return wind, waters
}

// words are a wind in words.
func (b blow) words() string {
	if b.knots == 0 {
		return "no wind"
	}
	return fmt.Sprintf("wind %.0f kn from %03.0f", b.knots, b.deg)
}
