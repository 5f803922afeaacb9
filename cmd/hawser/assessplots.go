package main

import (
	"os"
	"path/filepath"

	"hawser/detect/assess"
	"hawser/services/drawing"
)

// writePlots writes the drawings of an assessment into a folder, which is made
// where it is not there. What has no answer has no drawing.
func writePlots(folder string, q *question, a *assess.Answer) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	if !a.Found {
		return nil
	}
	wind := drawing.Wind{Knots: q.wind.knots, FromDeg: q.wind.deg}
	drawings := map[string][]byte{
		"mooring.svg": drawing.Mooring(q.Mooring, &a.State, wind),
		"weather.svg": drawing.Weather(q.plan, a.Wind, wind),
	}
	if a.Outlook != nil {
		drawings["hours.svg"] = drawing.Hours(q.Mooring, a.Outlook)
	}
	for name, svg := range drawings {
		if err := os.WriteFile(filepath.Join(folder, name), svg, 0o644); err != nil {
			return err
		}
	}
	return nil
}
