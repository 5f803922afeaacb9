package main

import (
	"errors"
	"fmt"
	"sort"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/tide"
)

// stepAhead is the time between two moments of the hours ahead.
const stepAhead = 5 * time.Minute

// course is what the water and the drafts do over time.
type course struct {
	start time.Time
	tide  *tide.Curve // nil: the level stays
	shift float64     // added to the tide, to meet the level at the start
	cargo []stamped   // empty: the drafts stay
}

// course reads the files of the hours ahead and settles when they begin: at
// --from, at --at, at the first row of a file, or now.
func (f *assessFlags) course(p *mooring.Plan, at time.Time) (*course, error) {
	c := &course{start: at}
	levels := p.Tide
	if f.tide != "" {
		rows, err := readSeries(f.tide, "time,level_m", -30, 30)
		if err != nil {
			return nil, err
		}
		if len(rows) < 2 {
			return nil, &tableError{f.tide, 2, errors.New("expected a second row below: the tide is found between rows")}
		}
		levels = &mooring.Tide{}
		for _, r := range rows {
			levels.Table = append(levels.Table, mooring.TideLevel{At: r.at, LevelM: r.values[0]})
		}
		if c.start.IsZero() {
			c.start = rows[0].at
		}
	}
	if levels != nil {
		var err error
		if c.tide, err = tide.New(levels); err != nil {
			return nil, fmt.Errorf("assess: %w", err)
		}
	}
	if f.cargo != "" {
		var err error
		if c.cargo, err = readSeries(f.cargo, "time,draft_fwd_m,draft_aft_m", 0.1, 40); err != nil {
			return nil, err
		}
		if c.start.IsZero() {
			c.start = c.cargo[0].at
		}
	}
	if f.from != "" {
		from, err := time.Parse(time.RFC3339, f.from)
		if err != nil {
			return nil, usageError{fmt.Errorf("assess: --from: %q, expected RFC 3339 such as 2026-03-01T04:05:00Z", f.from)}
		}
		c.start = from
	}
	if c.start.IsZero() {
		c.start = time.Now().Truncate(time.Minute)
	}
	c.start = c.start.UTC()
	return c, nil
}

// level is the water level at a time.
func (c *course) level(at time.Time, stays float64) (float64, error) {
	if c.tide == nil {
		return stays, nil
	}
	level, ok := c.tide.At(at)
	if !ok {
		return 0, usageError{fmt.Errorf("assess: --hours: the tide table does not reach %s; give another --from or fewer hours",
			at.Format(time.RFC3339))}
	}
	return level + c.shift, nil
}

// drafts are the drafts at a time, straight between two rows and as the nearest
// row beyond them.
func (c *course) drafts(at time.Time, fwd, aft float64) (float64, float64) {
	if len(c.cargo) == 0 {
		return fwd, aft
	}
	i := sort.Search(len(c.cargo), func(i int) bool { return c.cargo[i].at.After(at) })
	switch i {
	case 0:
		return c.cargo[0].values[0], c.cargo[0].values[1]
	case len(c.cargo):
		return c.cargo[i-1].values[0], c.cargo[i-1].values[1]
	}
	a, b := &c.cargo[i-1], &c.cargo[i]
	part := float64(at.Sub(a.at)) / float64(b.at.Sub(a.at))
	return a.values[0] + part*(b.values[0]-a.values[0]), a.values[1] + part*(b.values[1]-a.values[1])
}

// begin takes level and drafts from the course where nothing else gave them, and
// shifts the tide to meet a level that was given.
func (q *question) begin(c *course) error {
	level, err := c.level(c.start, q.level)
	if err != nil {
		return err
	}
	if q.levelGiven {
		c.shift = q.level - level
	} else {
		q.level = level
	}
	if !q.draftsGiven {
		q.draftFwd, q.draftAft = c.drafts(c.start, q.draftFwd, q.draftAft)
	}
	q.shift = c.shift
	return nil
}

// follow lays out the moments of the hours ahead.
func (q *question) follow(c *course, hours float64) error {
	end := c.start.Add(time.Duration(hours * float64(time.Hour)))
	for at := c.start; !at.After(end); at = at.Add(stepAhead) {
		level, err := c.level(at, q.level)
		if err != nil {
			return err
		}
		draftFwd, draftAft := c.drafts(at, q.draftFwd, q.draftAft)
		fwd, aft := q.plan.Rise(level, draftFwd, draftAft)
		moment := assess.Moment{At: at, RiseFwdM: fwd, RiseAftM: aft, DraftM: (draftFwd + draftAft) / 2}
		if q.depth > 0 {
			moment.DepthM = max(q.depth+level-q.level, moment.DraftM)
		}
		q.Moments = append(q.Moments, moment)
		q.levels = append(q.levels, level)
	}
	if c.tide == nil && len(c.cargo) == 0 {
		q.notes = append(q.notes, "No tide and no cargo work given: the hours ahead are all alike. Give --tide or --cargo.")
	}
	return nil
}
