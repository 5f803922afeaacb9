package main

import (
	"errors"
	"fmt"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/tide"
)

// stepAhead is the time between two moments of the hours ahead.
const stepAhead = 5 * time.Minute

// course reads the files of the hours ahead and settles when they begin: at
// --from, at --at, at the first row of a file, or now.
func (f *assessFlags) course(p *mooring.Plan) (c *assess.Course, start time.Time, err error) {
	c, start = &assess.Course{}, f.at.Time
	levels := p.Tide
	if f.tide != "" {
		if levels, err = readTide(f.tide); err != nil {
			return nil, start, err
		}
		if start.IsZero() {
			start = levels.Table[0].At
		}
	}
	if levels != nil {
		if c.Tide, err = tide.New(levels); err != nil {
			return nil, start, err
		}
	}
	if f.cargo != "" {
		rows, err := readSeries(f.cargo, "time,draft_fwd_m,draft_aft_m", 0.1, 40)
		if err != nil {
			return nil, start, err
		}
		for _, r := range rows {
			c.Cargo = append(c.Cargo, assess.Drafts{At: r.at, FwdM: r.values[0], AftM: r.values[1]})
		}
		if start.IsZero() {
			start = rows[0].at
		}
	}
	if !f.from.IsZero() {
		start = f.from.Time
	}
	if start.IsZero() {
		start = time.Now().Truncate(time.Minute)
	}
	return c, start.UTC(), nil
}

// readTide reads a table of levels.
func readTide(path string) (*mooring.Tide, error) {
	rows, err := readSeries(path, "time,level_m", -30, 30)
	if err != nil {
		return nil, err
	}
	if len(rows) < 2 {
		return nil, &tableError{path, 2, errors.New("expected a second row below: the tide is found between rows")}
	}
	t := &mooring.Tide{}
	for _, r := range rows {
		t.Table = append(t.Table, mooring.TideLevel{At: r.at, LevelM: r.values[0]})
	}
	return t, nil
}

// follow takes level and drafts now from the course where nothing else gave them,
// and lays out the hours ahead.
func (q *question) follow(c *assess.Course, start time.Time, hours float64) error {
	late := func(err error) error {
		return usageError{fmt.Errorf("--hours: %w; give another --from or fewer hours", err)}
	}
	now, err := c.At(start, q.waters)
	if err != nil {
		return late(err)
	}
	if !q.levelGiven {
		q.waters.LevelM = now.LevelM
	}
	if !q.draftsGiven {
		q.waters.DraftFwdM, q.waters.DraftAftM = now.DraftFwdM, now.DraftAftM
	}
	length := time.Duration(hours * float64(time.Hour))
	if q.Moments, q.shift, err = c.Moments(q.plan, q.waters, start, length, stepAhead); err != nil {
		return late(err)
	}
	if c.Tide == nil && c.Cargo == nil {
		q.notes = append(q.notes, "No tide and no cargo work given: the hours ahead are all alike. Give --tide or --cargo.")
	}
	return nil
}
