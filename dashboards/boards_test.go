package dashboards_test

import (
	"bytes"
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
	"github.com/grafana/grafana-foundation-sdk/go/units"

	"hawser/dashboards"
)

// committed reads the boards as they are committed, strictly by the viewer's
// schema: an unknown field, a missing one or one of another type fails.
func committed(t *testing.T) map[string]dashboards.Dashboard {
	t.Helper()
	runtime := cog.NewRuntime()
	runtime.RegisterPanelcfgVariant(timeseries.VariantConfig())
	runtime.RegisterPanelcfgVariant(stat.VariantConfig())
	runtime.RegisterPanelcfgVariant(bargauge.VariantConfig())
	runtime.RegisterPanelcfgVariant(table.VariantConfig())
	runtime.RegisterDataqueryVariant(prometheus.VariantConfig())
	runtime.RegisterDataqueryVariant(dashboards.FluxVariant())
	files, err := dashboards.All()
	if err != nil {
		t.Fatal(err)
	}
	boards := map[string]dashboards.Dashboard{}
	for name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if faults := strictly(data); len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
		}
		var b dashboards.Dashboard
		if err := json.Unmarshal(data, &b); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		boards[name] = b
	}
	return boards
}

// strictly gives what is wrong with a board by the schema. The schema library's own
// strict reading gives an error without a fault in it where there is none.
func strictly(data []byte) cog.BuildErrors {
	var b dashboards.Dashboard
	return cog.MakeBuildErrors("board", b.UnmarshalJSONStrict(data))
}

// The strict reading finds faults at every depth, so that finding none says
// something.
func TestStrictReadingFindsFaults(t *testing.T) {
	committed(t)
	data, err := os.ReadFile("history.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, from, to string }{
		{"a field of no board", `"uid": "hawser-history"`, `"uid": "hawser-history", "nonsense": 1`},
		{"a panel's place as text", `"w": 16`, `"w": "16"`},
		{"a field of no panel", `"type": "bargauge"`, `"type": "bargauge", "nonsense": 1`},
		{"a field of no drawing", `"lineWidth": 1`, `"lineWidth": 1, "nonsense": 1`},
		{"a field of no query", `"refId": "A"`, `"refId": "A", "nonsense": 1`},
	} {
		broken := bytes.Replace(data, []byte(c.from), []byte(c.to), 1)
		if bytes.Equal(broken, data) {
			t.Errorf("%s: the board has no %s", c.name, c.from)
		}
		if len(strictly(broken)) == 0 {
			t.Errorf("%s is not found", c.name)
		}
	}
}

// What is committed is what the generator gives, and nothing else is.
func TestCommittedIsGenerated(t *testing.T) {
	files, err := dashboards.All()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		if got, err := os.ReadFile(name); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not what the generator gives (%v): run go generate ./dashboards", name, err)
		}
	}
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".json") && files[e.Name()] == nil {
			t.Errorf("%s comes from no generator", e.Name())
		}
	}
}

// A person can read every panel: it has a title, a unit, a name for each series,
// and a place of its own on the 24 columns.
func TestPanelsCanBeRead(t *testing.T) {
	uids := map[string]string{}
	for name, b := range committed(t) {
		if b.Uid == nil || uids[*b.Uid] != "" {
			t.Errorf("%s: no identifier of its own", name)
			continue
		}
		uids[*b.Uid] = name
		taken := map[[2]uint32]string{}
		titles := map[string]bool{}
		for _, either := range b.Panels {
			var title string
			var at *dashboard.GridPos
			switch {
			case either.RowPanel != nil:
				title, at = *either.RowPanel.Title, either.RowPanel.GridPos
			default:
				p := either.Panel
				title, at = *p.Title, p.GridPos
				if p.FieldConfig == nil || p.FieldConfig.Defaults.Unit == nil {
					t.Errorf("%s: %s: no unit", name, title)
				}
				for _, q := range p.Targets {
					if prom, ok := q.(prometheus.Dataquery); ok && p.Type != "table" && (prom.LegendFormat == nil || *prom.LegendFormat == "") {
						t.Errorf("%s: %s: a series without a name", name, title)
					}
					if _, ok := q.(dashboards.Flux); ok && p.FieldConfig.Defaults.DisplayName == nil {
						t.Errorf("%s: %s: a series without a name", name, title)
					}
				}
			}
			if titles[title] {
				t.Errorf("%s: two panels are called %s", name, title)
			}
			titles[title] = true
			if at == nil || at.W == 0 || at.H == 0 || at.X+at.W > 24 {
				t.Errorf("%s: %s: stands at %+v", name, title, at)
				continue
			}
			for x := at.X; x < at.X+at.W; x++ {
				for y := at.Y; y < at.Y+at.H; y++ {
					if other := taken[[2]uint32{x, y}]; other != "" {
						t.Fatalf("%s: %s stands on %s", name, title, other)
					}
					taken[[2]uint32{x, y}] = title
				}
			}
		}
	}
}

// unitOf is the viewer's unit for what a query gives: by the last words of its
// metric or measurement, which are its unit (Prometheus, "Metric and label naming":
// base units, total for counts).
func unitOf(query string) string {
	names := regexp.MustCompile(`(hawser|process|go)_[a-z_]+|_measurement == "[a-z_]+"`).FindAllString(query, -1)
	if len(names) == 0 {
		return "no name"
	}
	name := strings.Trim(names[0], `"`)
	ends := func(unit string) bool { return strings.HasSuffix(name, unit) }
	switch {
	case strings.Contains(query, "/ r.mbl_kilonewtons"), ends("_ratio"), strings.HasPrefix(query, "rate(") && ends("cpu_seconds_total"):
		return units.PercentUnit
	case strings.Contains(query, `"quality"`), strings.Contains(query, "increase("):
		return units.Short
	case strings.Contains(query, "rate(") && ends("_total"):
		return units.CountsPerSecond
	case ends("_meters_per_second"), ends("_metres_per_second"):
		return units.MetersPerSecond
	case ends("_seconds"), ends("_seconds_bucket"):
		return units.Seconds
	case ends("_bytes"):
		return units.BytesIEC
	case ends("_meters"), ends("_metres"):
		return units.Meter
	case ends("_kilonewtons"):
		return units.KiloNewtons
	case ends("_degrees"):
		return units.Degrees
	default:
		return units.Short
	}
}

func TestUnitsAreThoseOfTheQueries(t *testing.T) {
	for name, b := range committed(t) {
		for _, either := range b.Panels {
			if either.Panel == nil {
				continue
			}
			for _, q := range either.Panel.Targets {
				text := ""
				switch q := q.(type) {
				case prometheus.Dataquery:
					text = q.Expr
				case *prometheus.Dataquery:
					text = q.Expr
				case dashboards.Flux:
					text = q.Query
				default:
					t.Fatalf("%s: %s: a query of type %T", name, *either.Panel.Title, q)
				}
				if got, want := *either.Panel.FieldConfig.Defaults.Unit, unitOf(text); got != want {
					t.Errorf("%s: %s: unit %q, its query gives %q", name, *either.Panel.Title, got, want)
				}
			}
		}
	}
}
