// Package tide is the water level at a berth over time: from the harmonic
// constituents of a tidal station, or from a table of times and levels. It is
// the astronomical tide or what the table says, and nothing else: wind, air
// pressure and river water raise or lower the real level by decimetres, so a
// measured level goes before it wherever there is one. It is pure and reads no
// clock. Times are instants: zones and summer time are the caller's.
package tide

import (
	"fmt"
	"time"

	"hawser/detect/mooring"
)

// Curve is the level over time. It is read-only and safe for concurrent use.
type Curve struct {
	meanM float64
	waves []wave
	table *table // in place of mean and waves
}

// New is the curve of a plan's tide. It wants constituents that are known, each
// once, or a table of two levels or more in order of time.
func New(t *mooring.Tide) (*Curve, error) {
	if len(t.Table) > 0 {
		table, err := newTable(t.Table)
		if err != nil {
			return nil, err
		}
		return &Curve{table: table}, nil
	}
	c := &Curve{meanM: t.MeanLevelM, waves: make([]wave, len(t.Constituents))}
	seen := map[string]bool{}
	for i, k := range t.Constituents {
		row := find(k.Name)
		switch {
		case row == nil:
			return nil, fmt.Errorf("tide: constituent %q is not known", k.Name)
		case seen[k.Name]:
			return nil, fmt.Errorf("tide: constituent %s is given twice", k.Name)
		}
		seen[k.Name] = true
		c.waves[i] = wave{constituent: row, amplitudeM: k.AmplitudeM, lagRad: k.LagDeg * degree}
	}
	return c, nil
}

// At is the level above chart datum, metres. It is not ok outside a table: what
// the water does there is not known.
func (c *Curve) At(t time.Time) (levelM float64, ok bool) {
	if c.table != nil {
		return c.table.at(t)
	}
	return c.harmonicM(t), true
}

// hoursBetween goes on where a time.Duration ends, after 292 years.
func hoursBetween(from, to time.Time) float64 {
	return float64(to.Unix()-from.Unix())/3600 + float64(to.Nanosecond()-from.Nanosecond())/3.6e12
}

// Extremes are the lowest and the highest level that the tide comes to: over the
// whole of a table, or over 19 years of hours from the beginning of 2020, in
// which moon, sun and node have stood in all ways to each other. Source: the
// definition of highest and lowest astronomical tide of the International
// Hydrographic Organization; the level between the hours is at most some
// centimetres higher.
func (c *Curve) Extremes() (lowM, highM float64) {
	if c.table != nil {
		lowM, highM, _ = c.Between(c.table.times[0], c.table.times[len(c.table.times)-1], 5*time.Minute)
		return lowM, highM
	}
	from := time.Date(2020, time.January, 1, 0, 0, 0, 0, time.UTC)
	lowM, highM, _ = c.Between(from, from.AddDate(19, 0, 0), time.Hour)
	return lowM, highM
}

// Between is the lowest and highest level from one time to another, both
// included, looked at every step and at the end. It is not ok where a part of
// that time lies outside a table, or where the times or the step are not in
// order. The step bounds how much of a crest is missed: less than 0.01 of the
// range at a tenth of the time between two high waters.
func (c *Curve) Between(from, to time.Time, step time.Duration) (lowM, highM float64, ok bool) {
	if step <= 0 || to.Before(from) {
		return 0, 0, false
	}
	lowM, ok = c.At(to)
	highM = lowM
	for t := from; ok && t.Before(to); t = t.Add(step) {
		var level float64
		level, ok = c.At(t)
		lowM, highM = min(lowM, level), max(highM, level)
	}
	return lowM, highM, ok
}
