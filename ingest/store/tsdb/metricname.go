package tsdb

import (
	"strings"

	"hawser/detect/reading"
	"hawser/ingest/store/roll"
)

// Metric is what is stored under a name of Prometheus's conventions: base units, the
// unit in the name.
type Metric struct {
	Name, Unit, Help string

	kind   reading.Kind
	factor float64 // base units in one of ours
	rolled bool
	res    roll.Resolution
	figure func(*roll.Roll) float64
}

// readingMetrics are the metrics of readings as they are.
func readingMetrics() []Metric {
	return []Metric{
		{Name: "hawser_line_tension_newtons", Unit: "newtons", Help: "Load of a line at its load pin.", kind: reading.Tension, factor: 1000},
		{Name: "hawser_line_payout_meters", Unit: "meters", Help: "Line paid out past the drum since zeroing, positive outboard.", kind: reading.Payout, factor: 1},
		{Name: "hawser_line_brake_set", Help: "1 while a winch's brake is set, 0 while it is released.", kind: reading.Brake, factor: 1},
		{Name: "hawser_wind_speed_meters_per_second", Unit: "meters per second", Help: "Wind at 10 m.", kind: reading.WindSpeed, factor: 1},
		{Name: "hawser_wind_direction_degrees", Unit: "degrees", Help: "Where the wind comes from, true.", kind: reading.WindDirection, factor: 1},
		{Name: "hawser_water_level_meters", Unit: "meters", Help: "Water level above chart datum.", kind: reading.WaterLevel, factor: 1},
		{Name: "hawser_ship_draft_forward_meters", Unit: "meters", Help: "Draft forward.", kind: reading.DraftFwd, factor: 1},
		{Name: "hawser_ship_draft_aft_meters", Unit: "meters", Help: "Draft aft.", kind: reading.DraftAft, factor: 1},
		{Name: "hawser_berth_under_watch", Help: "1 while a ship is made fast and under watch, 0 while she comes or goes.", kind: reading.UnderWatch, factor: 1},
	}
}

// Metrics are all metrics: of readings, then of their rolls. Those are named as
// recording rules are, metric:operation, and have a sample at the end of each span:
// hawser_line_tension_newtons:max10m at 04:10 is the greatest from 04:00 on and
// before 04:10.
func Metrics() []Metric {
	out := readingMetrics()
	for _, m := range readingMetrics() {
		for _, res := range roll.Resolutions() {
			for _, f := range []struct {
				name, help string
				of         func(*roll.Roll) float64
			}{
				{"min", "least", (*roll.Roll).Min},
				{"avg", "mean", (*roll.Roll).Mean},
				{"max", "greatest", (*roll.Roll).Max},
				{"stddev", "standard deviation", (*roll.Roll).Std},
				{"count", "number of readings", func(r *roll.Roll) float64 { return float64(r.Count) }},
			} {
				rolled := m
				rolled.Name += ":" + f.name + res.String()
				rolled.Help = strings.TrimSuffix(m.Help, ".") + ": " + f.help + " of the " + res.String() + " before."
				rolled.rolled, rolled.res, rolled.figure = true, res, f.of
				if f.name == "count" {
					rolled.Unit, rolled.factor = "", 1
				}
				out = append(out, rolled)
			}
		}
	}
	return out
}
