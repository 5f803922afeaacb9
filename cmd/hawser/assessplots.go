package main

import (
	"os"
	"path/filepath"

	"hawser/services/drawing"
)

// writePlots writes the drawings of an assessment into a folder, which is made
// where it is not there. What has no answer has no drawing.
func writePlots(folder string, q *question, a *answers) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	if a.failure != nil {
		return nil
	}
	wind := drawing.Wind{Knots: q.wind.knots, FromDeg: q.wind.deg}
	drawings := map[string][]byte{
		"mooring.svg": drawing.Mooring(q.mooring, &a.state, wind),
		"weather.svg": drawing.Weather(q.plan, a.wind, wind),
	}
	if a.outlook != nil {
		drawings["hours.svg"] = drawing.Hours(q.mooring, a.outlook, q.levels)
	}
	for name, svg := range drawings {
		if err := os.WriteFile(filepath.Join(folder, name), svg, 0o644); err != nil {
			return err
		}
	}
	return nil
}
