package dashboards

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/units"

	"hawser/services/caution"
)

// The queries are of the Flux that InfluxDB 1.8 and 2 have in common.

// readings is a measurement of the chosen berth and span.
func readings(measurement, field string) string {
	return fmt.Sprintf(`from(bucket: v.defaultBucket)
  |> range(start: v.timeRangeStart, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "%s" and r._field == "%s" and r.berth == "${berth}")`, measurement, field)
}

// stepped is one point a step of each series.
func stepped(measurement, field, fn string) string {
	return readings(measurement, field) + fmt.Sprintf(`
  |> aggregateWindow(every: v.windowPeriod, fn: %s, createEmpty: false)`, fn)
}

// ofPlan is what the berth's plan says of its lines, the last plan of the span.
const ofPlan = `from(bucket: v.defaultBucket)
  |> range(start: 0, stop: v.timeRangeStop)
  |> filter(fn: (r) => r._measurement == "mooring_line" and r.berth == "${berth}")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> group(columns: ["line"])
  |> sort(columns: ["_time"])
  |> last(column: "mbl_kilonewtons")
  |> keep(columns: ["line", "group", "mbl_kilonewtons"])`

// byPlan joins stepped loads with the plan; value is an expression of the load
// r._value and the plan's columns.
func byPlan(loads, where, value string) string {
	return fmt.Sprintf(`loads = %s
  |> keep(columns: ["_time", "_value", "line"])
  |> group(columns: ["line"])
plan = %s
join(tables: {loads: loads, plan: plan}, on: ["line"])
  |> filter(fn: (r) => %s)
  |> map(fn: (r) => ({_time: r._time, _value: %s, line: r.line, group: r.group}))
  |> group(columns: ["group", "line"])`, loads, ofPlan, where, value)
}

// history is the board of what was, over InfluxDB: loads by group and as shares of
// MBL, pay-out, wind, water, drafts, and what the sensors were worth.
func history() *builder {
	const (
		line  = "${__field.labels.group} ${__field.labels.line}"
		every = "true"
	)
	mean, highest := stepped("tension_kilonewtons", "value", "mean"), stepped("tension_kilonewtons", "value", "max")
	return board("hawser-history", "History of a berth", "Groups and MBL are those of the last plan in the span. "+caution.Full, InfluxDB).
		Time("now-24h", "now").
		WithVariable(choice("berth", "Berth", InfluxDB, `from(bucket: v.defaultBucket)
  |> range(start: 0)
  |> filter(fn: (r) => r._measurement == "mooring_line" and r._field == "group")
  |> keep(columns: ["berth", "_value"])
  |> group()
  |> distinct(column: "berth")`)).
		WithVariable(several(choice("group", "Group", InfluxDB, `from(bucket: v.defaultBucket)
  |> range(start: 0)
  |> filter(fn: (r) => r._measurement == "mooring_line" and r._field == "group" and r.berth == "${berth}")
  |> last()
  |> group()
  |> distinct(column: "_value")`))).
		WithRow(row("Loads", 0)).
		WithPanel(bars(InfluxDB, show{
			title: "Highest load of the span, share of MBL", at: grid(0, 1, 8, 16), unit: units.PercentUnit, name: line, steps: limits(0.4, 0.5),
			about:   "The working load limit is 0.50 of MBL for fibre and 0.55 for wire unless the plan says otherwise.",
			queries: flux(byPlan(readings("tension_kilonewtons", "value")+"\n  |> max()", every, "r._value / r.mbl_kilonewtons")),
		}, "max")).
		WithPanel(lines(InfluxDB, show{
			title: "Share of MBL: mean of each group", at: grid(8, 1, 16, 8), unit: units.PercentUnit, name: "${__field.labels.group}",
			queries: flux(byPlan(mean, every, "r._value / r.mbl_kilonewtons") + `
  |> group(columns: ["group", "_time"])
  |> mean()
  |> group(columns: ["group"])
  |> sort(columns: ["_time"])`),
		})).
		WithPanel(lines(InfluxDB, show{
			title: "Share of MBL: highest of each step, by line", at: grid(8, 9, 16, 8), unit: units.PercentUnit, name: line, steps: limits(0.4, 0.5),
			queries: flux(byPlan(highest, every, "r._value / r.mbl_kilonewtons")),
		})).
		WithRow(row("Loads by group", 17)).
		WithPanel(lines(InfluxDB, show{
			title: "Load, $group", at: grid(0, 18, 8, 8), unit: units.KiloNewtons, name: line,
			queries: flux(byPlan(mean, `r.group == "${group}"`, "r._value")),
		}).Repeat("group").RepeatDirection(dashboard.PanelRepeatDirectionH).MaxPerRow(3)).
		WithRow(row("Winches, wind, water, drafts", 26)).
		WithPanel(lines(InfluxDB, show{
			title: "Pay-out, by line", at: grid(0, 27, 12, 8), unit: units.Meter, decimals: 2, name: "${__field.labels.line}",
			about:   "The last of each step, positive outboard.",
			queries: flux(stepped("payout_metres", "value", "last") + "\n  |> keep(columns: [\"_time\", \"_value\", \"line\"])\n  |> group(columns: [\"line\"])"),
		})).
		WithPanel(lines(InfluxDB, show{
			title: "Wind at 10 m: mean and highest of each step", at: grid(12, 27, 12, 8), unit: units.MetersPerSecond, name: "${__field.labels.which}",
			queries: flux(named(stepped("wind_speed_metres_per_second", "value", "mean"), "mean"),
				named(stepped("wind_speed_metres_per_second", "value", "max"), "highest")),
		})).
		WithPanel(lines(InfluxDB, show{
			title: "Wind from, true", at: grid(0, 35, 12, 8), unit: units.Degrees, name: "${__field.labels.which}",
			about:   "The last of each step: a mean of directions would be wrong across north.",
			queries: flux(named(stepped("wind_direction_degrees", "value", "last"), "wind from")),
		}).Min(0).Max(360)).
		WithPanel(lines(InfluxDB, show{
			title: "Water above chart datum, and drafts", at: grid(12, 35, 12, 8), unit: units.Meter, decimals: 2, name: "${__field.labels.which}",
			queries: flux(named(stepped("water_level_metres", "value", "mean"), "water"),
				named(stepped("draft_forward_metres", "value", "mean"), "draft forward"),
				named(stepped("draft_aft_metres", "value", "mean"), "draft aft")),
		})).
		WithRow(row("What the sensors were worth", 43)).
		WithPanel(lines(InfluxDB, show{
			title: "Readings that were not good, by line", at: grid(0, 44, 24, 8), unit: units.Short, name: "${__field.labels.line}",
			about:   "Bad, late or repeated, in each step.",
			queries: flux(stepped("tension_kilonewtons", "quality", "count") + "\n  |> keep(columns: [\"_time\", \"_value\", \"line\"])\n  |> group(columns: [\"line\"])"),
		}))
}

// named gives a series without labels of its own one to be named by.
func named(query, name string) string {
	return query + fmt.Sprintf(`
  |> map(fn: (r) => ({_time: r._time, _value: r._value, which: "%s"}))
  |> group(columns: ["which"])`, name)
}
