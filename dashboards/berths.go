package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/units"

	"hawser/services/caution"
)

// berths is the board of the moorings as they are now: is anybody watching, what
// is active, how are the lines, and what works on the ship.
func berths() *builder {
	const line = "{{berth}} {{group}} {{line}}"
	return board("hawser-berths", "Berths now", caution.Full, Prometheus).
		Time("now-30m", "now").Refresh("5s").
		WithVariable(several(choice("berth", "Berth", Prometheus, "label_values(hawser_berth_data_age_seconds, berth)")).AllValue(".+")).
		WithRow(row("Watch and alarms", 0)).
		WithPanel(number(Prometheus, show{
			title: "Newest reading, age", at: grid(0, 1, 5, 6), unit: units.Seconds, decimals: 1, steps: limits(8, 15),
			about:   "Past 15 s a berth is not under watch.",
			queries: prom(askNow(`max by (berth) (hawser_berth_data_age_seconds{berth=~"$berth"})`, "{{berth}}")),
		})).
		WithPanel(number(Prometheus, show{
			title: "Emergencies and alarms active", at: grid(5, 1, 5, 6), unit: units.Short, steps: fromOne(),
			queries: prom(askNow(`sum(hawser_alarm_active{berth=~"$berth",priority=~"emergency|alarm"}) or vector(0)`, "active")),
		})).
		WithPanel(number(Prometheus, show{
			title: "After the loss of any one line", at: grid(10, 1, 5, 6), unit: units.PercentUnit, steps: limits(0.8, 1),
			about:   "Largest load that any one loss would bring, as a share of that line's working load limit. Static: waves and the swing after a parting come on top. " + caution.Full,
			queries: prom(askNow(`max by (berth) (hawser_berth_line_loss_working_load_ratio{berth=~"$berth"})`, "{{berth}}")),
		})).
		WithPanel(list(show{
			title: "Active alarms", at: grid(15, 1, 9, 6), unit: units.Short,
			about: "Conditions raised and not cleared. Acknowledge and shelve on hawser's own page.",
		}, askNow(`sum by (berth, condition, priority) (hawser_alarm_active{berth=~"$berth"}) > 0`, ""))).
		WithRow(row("Lines", 7)).
		WithPanel(bars(Prometheus, show{
			title: "Load, share of the working load limit", at: grid(0, 8, 8, 16), unit: units.PercentUnit, steps: limits(0.8, 1),
			about:   "The limit is the plan's, else 0.50 of MBL for fibre and 0.55 for wire. " + caution.Full,
			queries: prom(askNow(`sort_desc(hawser_line_working_load_ratio{berth=~"$berth"})`, line)),
		}, "lastNotNull")).
		WithPanel(lines(Prometheus, show{
			title: "Load", at: grid(8, 8, 16, 8), unit: units.KiloNewtons,
			queries: prom(ask(`hawser_line_tension_kilonewtons{berth=~"$berth"}`, line)),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Load, share of MBL: mean of each group", at: grid(8, 16, 16, 8), unit: units.PercentUnit,
			queries: prom(ask(`avg by (berth, group) (hawser_line_mbl_ratio{berth=~"$berth"})`, "{{berth}} {{group}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Pay-out with the brake set", at: grid(0, 24, 12, 8), unit: units.Meter, decimals: 2,
			about:   "A drum that pays out with its brake set renders or slips.",
			queries: prom(ask(`hawser_line_payout_meters{berth=~"$berth"} and on (berth, line) hawser_line_brake_set == 1`, line)),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Loss of any one line, share of the working load limit", at: grid(12, 24, 12, 8), unit: units.PercentUnit, steps: limits(0.8, 1),
			queries: prom(ask(`hawser_berth_line_loss_working_load_ratio{berth=~"$berth"}`, "{{berth}}")),
		})).
		WithRow(row("Wind, water, drafts", 32)).
		WithPanel(lines(Prometheus, show{
			title: "Wind at 10 m", at: grid(0, 33, 8, 8), unit: units.MetersPerSecond,
			queries: prom(ask(`hawser_berth_wind_speed_meters_per_second{berth=~"$berth"}`, "{{berth}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Wind from, true", at: grid(8, 33, 8, 8), unit: units.Degrees,
			queries: prom(ask(`hawser_berth_wind_direction_degrees{berth=~"$berth"}`, "{{berth}}")),
		}).Min(0).Max(360)).
		WithPanel(lines(Prometheus, show{
			title: "Water above chart datum, and drafts", at: grid(16, 33, 8, 8), unit: units.Meter, decimals: 2,
			queries: prom(
				ask(`hawser_berth_water_level_meters{berth=~"$berth"}`, "{{berth}} water"),
				ask(`hawser_berth_draft_fwd_meters{berth=~"$berth"}`, "{{berth}} draft forward"),
				ask(`hawser_berth_draft_aft_meters{berth=~"$berth"}`, "{{berth}} draft aft")),
		}))
}
