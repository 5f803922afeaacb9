package dashboards

import (
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/units"
)

// on keeps a query to the chosen servers.
const on = `{instance=~"$server"}`

// quantile of a histogram of the server, over all its other labels.
func quantile(q float64, metric string) string {
	return fmt.Sprintf(`histogram_quantile(%g, sum by (instance, le) (rate(%s_bucket%s[$__rate_interval])))`, q, metric, on)
}

// server is the board of the program itself: does it take everything in, keep it,
// look at it in time, tell of it, and tell of it sparingly.
func server() *builder {
	return board("hawser-server", "The server itself", "Whether the watch works: intake, journal, detection, history, deliveries, and how the alarms do.", Prometheus).
		Time("now-1h", "now").Refresh("10s").
		WithVariable(several(choice("server", "Server", Prometheus, "label_values(hawser_journal_failed, instance)")).AllValue(".+")).
		WithRow(row("At a glance", 0)).
		WithPanel(number(Prometheus, show{
			title: "Journal failed", at: grid(0, 1, 4, 4), unit: units.Short, steps: fromOne(),
			about:   "1 once the journal takes nothing more: nothing is receipted until hawser is started anew.",
			queries: prom(askNow(`max by (instance) (hawser_journal_failed`+on+`)`, "{{instance}}")),
		})).
		WithPanel(number(Prometheus, show{
			title: "Free on the journal's disk", at: grid(4, 1, 4, 4), unit: units.PercentUnit,
			steps:   []dashboard.Threshold{{Color: after}, {Value: ptr(0.05), Color: near}, {Value: ptr(0.25), Color: calm}},
			queries: prom(askNow(`min by (instance) (hawser_journal_free_ratio`+on+`)`, "{{instance}}")),
		})).
		WithPanel(number(Prometheus, show{
			title: "Detection behind", at: grid(8, 1, 4, 4), unit: units.Seconds, decimals: 1, steps: limits(2, 5),
			about:   "Age of the oldest batch that a berth's detectors have not finished with.",
			queries: prom(askNow(`max by (instance) (hawser_journal_unread_age_seconds{instance=~"$server",reader=~"watch-.+"})`, "{{instance}}")),
		})).
		WithPanel(number(Prometheus, show{
			title: "History behind", at: grid(12, 1, 4, 4), unit: units.Seconds, decimals: 1, steps: limits(10, 60),
			queries: prom(askNow(`max by (instance) (hawser_store_waiting_seconds`+on+`)`, "{{instance}}")),
		})).
		WithPanel(number(Prometheus, show{
			title: "Destinations not reached", at: grid(16, 1, 4, 4), unit: units.Short, steps: fromOne(),
			queries: prom(askNow(`sum by (instance) (hawser_delivery_failing`+on+`)`, "{{instance}}")),
		})).
		WithPanel(number(Prometheus, show{
			title: "Flood of alarms", at: grid(20, 1, 4, 4), unit: units.Short, steps: fromOne(),
			about:   "1 while over ten alarms were raised within ten minutes, where ISA-18.2 has a flood begin.",
			queries: prom(askNow(`max by (instance) (hawser_alarm_flood`+on+`)`, "{{instance}}")),
		})).
		WithRow(row("Intake", 5)).
		WithPanel(lines(Prometheus, show{
			title: "Readings taken in", at: grid(0, 6, 8, 8), unit: units.CountsPerSecond,
			queries: prom(ask(`sum by (instance, berth) (rate(hawser_intake_samples_total`+on+`[$__rate_interval]))`, "{{instance}} {{berth}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "From a batch's arrival to its receipt", at: grid(8, 6, 8, 8), unit: units.Seconds,
			about: "A receipt means disk.",
			queries: prom(ask(quantile(0.5, "hawser_intake_receipt_delay_seconds"), "{{instance}} half of them"),
				ask(quantile(0.99, "hawser_intake_receipt_delay_seconds"), "{{instance}} 99 %")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Readings that are odd", at: grid(16, 6, 8, 8), unit: units.CountsPerSecond,
			about:   "Taken though late, repeated, out of order or bad.",
			queries: prom(ask(`sum by (instance, kind) (rate(hawser_intake_oddities_total`+on+`[$__rate_interval]))`, "{{instance}} {{kind}}")),
		})).
		WithRow(row("Journal", 14)).
		WithPanel(lines(Prometheus, show{
			title: "One group to disk", at: grid(0, 15, 8, 8), unit: units.Seconds,
			queries: prom(ask(quantile(0.5, "hawser_journal_sync_seconds"), "{{instance}} half of them"),
				ask(quantile(0.99, "hawser_journal_sync_seconds"), "{{instance}} 99 %")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Held, and what readers have yet to read", at: grid(8, 15, 8, 8), unit: units.BytesIEC,
			queries: prom(ask(`hawser_journal_stored_bytes`+on, "{{instance}} held"),
				ask(`hawser_journal_unread_bytes`+on, "{{instance}} {{reader}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Readers behind", at: grid(16, 15, 8, 8), unit: units.Seconds,
			queries: prom(ask(`hawser_journal_unread_age_seconds`+on, "{{instance}} {{reader}}")),
		})).
		WithRow(row("Detection", 23)).
		WithPanel(lines(Prometheus, show{
			title: "From journal to detection done", at: grid(0, 24, 8, 8), unit: units.Seconds,
			queries: prom(ask(quantile(0.5, "hawser_watch_block_delay_seconds"), "{{instance}} half of them"),
				ask(quantile(0.99, "hawser_watch_block_delay_seconds"), "{{instance}} 99 %")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "From journal to alarm on record", at: grid(8, 24, 8, 8), unit: units.Seconds,
			queries: prom(ask(quantile(0.5, "hawser_watch_alarm_delay_seconds"), "{{instance}} half of them"),
				ask(quantile(0.99, "hawser_watch_alarm_delay_seconds"), "{{instance}} 99 %")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Readings not used, by reason", at: grid(16, 24, 8, 8), unit: units.CountsPerSecond,
			queries: prom(ask(`sum by (instance, berth, reason) (rate(hawser_watch_unused_samples_total`+on+`[$__rate_interval]))`, "{{instance}} {{berth}} {{reason}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "The loss of each line reckoned, all berths", at: grid(0, 32, 8, 8), unit: units.Seconds,
			about:   "Due every second.",
			queries: prom(ask(quantile(0.99, "hawser_reckon_round_seconds"), "{{instance}} 99 %")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Watches started again", at: grid(8, 32, 8, 8), unit: units.Short,
			queries: prom(ask(`sum by (instance, berth) (increase(hawser_watch_restarts_total`+on+`[$__rate_interval]))`, "{{instance}} {{berth}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "One group into the store", at: grid(16, 32, 8, 8), unit: units.Seconds,
			queries: prom(ask(quantile(0.99, "hawser_store_append_seconds"), "{{instance}} 99 %")),
		})).
		WithRow(row("Alarms out", 40)).
		WithPanel(lines(Prometheus, show{
			title: "Sent", at: grid(0, 41, 8, 8), unit: units.CountsPerSecond,
			queries: prom(ask(`sum by (instance, destination) (rate(hawser_delivery_sent_total`+on+`[$__rate_interval]))`, "{{instance}} {{destination}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "From record to destination", at: grid(8, 41, 8, 8), unit: units.Seconds,
			queries: prom(ask(`histogram_quantile(0.99, sum by (instance, destination, le) (rate(hawser_delivery_delay_seconds_bucket`+on+`[$__rate_interval])))`, "{{instance}} {{destination}} 99 %")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Tries that came to nothing", at: grid(16, 41, 8, 8), unit: units.CountsPerSecond,
			queries: prom(ask(`sum by (instance, destination) (rate(hawser_delivery_failures_total`+on+`[$__rate_interval]))`, "{{instance}} {{destination}}")),
		})).
		WithRow(row("How the alarms do", 49)).
		WithPanel(lines(Prometheus, show{
			title: "Raised within an hour, by condition", at: grid(0, 50, 12, 8), unit: units.Short,
			queries: prom(ask(`sum by (instance, condition) (increase(hawser_alarm_raised_total`+on+`[1h]))`, "{{instance}} {{condition}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Standing, chattering, and the most within ten minutes", at: grid(12, 50, 12, 8), unit: units.Short,
			about: "Held against ISA-18.2 and EEMUA 191 on hawser's own page of how the alarms do.",
			queries: prom(ask(`hawser_alarm_standing`+on, "{{instance}} over a day"),
				ask(`hawser_alarm_chattering`+on, "{{instance}} chattering"),
				ask(`hawser_alarm_peak_raises`+on, "{{instance}} most in ten minutes")),
		})).
		WithRow(row("Process", 58)).
		WithPanel(lines(Prometheus, show{
			title: "Processor", at: grid(0, 59, 8, 8), unit: units.PercentUnit,
			about:   "1 is one core.",
			queries: prom(ask(`rate(process_cpu_seconds_total`+on+`[$__rate_interval]) and on (instance) hawser_journal_failed`, "{{instance}}")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Memory", at: grid(8, 59, 8, 8), unit: units.BytesIEC,
			queries: prom(ask(`process_resident_memory_bytes`+on+` and on (instance) hawser_journal_failed`, "{{instance}} resident"),
				ask(`go_memstats_heap_inuse_bytes`+on+` and on (instance) hawser_journal_failed`, "{{instance}} heap")),
		})).
		WithPanel(lines(Prometheus, show{
			title: "Calls answered", at: grid(16, 59, 8, 8), unit: units.CountsPerSecond,
			queries: prom(ask(`sum by (instance) (rate(hawser_front_http_requests_total`+on+`[$__rate_interval]))`, "{{instance}} http"),
				ask(`sum by (instance) (rate(hawser_front_grpc_calls_total`+on+`[$__rate_interval]))`, "{{instance}} gRPC")),
		}))
}

func ptr(v float64) *float64 { return &v }
