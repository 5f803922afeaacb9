package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// show is what a panel shows: its words, unit and queries.
type show struct {
	title, about string
	unit         string // of package units
	decimals     float64
	at           dashboard.GridPos
	queries      []cog.Builder[variants.Dataquery]
	name         string // of a series, by its labels, where the query gives none
	steps        []dashboard.Threshold
}

// grid is a place on the board, which is 24 wide.
func grid(x, y, w, h uint32) dashboard.GridPos {
	return dashboard.GridPos{X: x, Y: y, W: w, H: h}
}

// row is a headline over the panels below it.
func row(title string, y uint32) *dashboard.RowBuilder {
	return dashboard.NewRowBuilder(title).GridPos(grid(0, y, 24, 1))
}

// ask is a query over a span, its series named by a pattern of labels.
func ask(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source(Prometheus)).Expr(expr).LegendFormat(legend).Range()
}

// askNow is a query of this moment.
func askNow(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source(Prometheus)).Expr(expr).LegendFormat(legend).Instant()
}

// prom names the queries A, B, C.
func prom(qs ...*prometheus.DataqueryBuilder) []cog.Builder[variants.Dataquery] {
	var all []cog.Builder[variants.Dataquery]
	for i, q := range qs {
		all = append(all, q.RefId(string(rune('A'+i))))
	}
	return all
}

// flux names the queries A, B, C.
func flux(texts ...string) []cog.Builder[variants.Dataquery] {
	var all []cog.Builder[variants.Dataquery]
	for i, text := range texts {
		all = append(all, Flux{RefID: string(rune('A' + i)), Query: text, Datasource: source(InfluxDB)})
	}
	return all
}

// Colours of a limit that comes near and of one that is reached, apart for those
// who do not tell red from green.
const (
	calm  = "text"
	near  = "#d99a1b"
	after = "#c2364a"
)

// limits colours a value from its first limit on, and from its second.
func limits(nearAt, afterAt float64) []dashboard.Threshold {
	return []dashboard.Threshold{{Color: calm}, {Value: &nearAt, Color: near}, {Value: &afterAt, Color: after}}
}

// fromOne colours a count of anything at all.
func fromOne() []dashboard.Threshold {
	return []dashboard.Threshold{{Color: calm}, {Value: cog.ToPtr(1.0), Color: after}}
}

func (s show) thresholds() *dashboard.ThresholdsConfigBuilder {
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(s.steps)
}

// lines draws values over time.
func lines(kind string, s show) *timeseries.PanelBuilder {
	p := timeseries.NewPanelBuilder().Title(s.title).Description(s.about).Datasource(source(kind)).
		GridPos(s.at).Unit(s.unit).Targets(s.queries).
		LineWidth(1).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).
			DisplayMode(common.LegendDisplayModeTable).Placement(common.LegendPlacementRight).
			Calcs([]string{"lastNotNull", "max"})).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending))
	if s.name != "" {
		p.DisplayName(s.name)
	}
	if s.decimals > 0 {
		p.Decimals(s.decimals)
	}
	if s.steps != nil {
		p.Thresholds(s.thresholds()).
			ThresholdsStyle(common.NewGraphThresholdsStyleConfigBuilder().Mode(common.GraphThresholdsStyleModeDashed))
	}
	return p
}

// number shows the newest value large.
func number(kind string, s show) *stat.PanelBuilder {
	return stat.NewPanelBuilder().Title(s.title).Description(s.about).Datasource(source(kind)).
		GridPos(s.at).Unit(s.unit).Targets(s.queries).Decimals(s.decimals).
		Thresholds(s.thresholds()).
		ColorMode(common.BigValueColorModeValue).GraphMode(common.BigValueGraphModeNone).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}))
}

// bars shows the newest values side by side.
func bars(kind string, s show, calc string) *bargauge.PanelBuilder {
	p := bargauge.NewPanelBuilder().Title(s.title).Description(s.about).Datasource(source(kind)).
		GridPos(s.at).Unit(s.unit).Targets(s.queries).Decimals(s.decimals).
		Thresholds(s.thresholds()).Min(0).
		Orientation(common.VizOrientationHorizontal).DisplayMode(common.BarGaugeDisplayModeBasic).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{calc}))
	if s.name != "" {
		p.DisplayName(s.name)
	}
	return p
}

// list is a table of labels and values as they are now.
func list(s show, q *prometheus.DataqueryBuilder, hide ...string) *table.PanelBuilder {
	hidden := map[string]bool{"Time": true, "__name__": true}
	for _, name := range hide {
		hidden[name] = true
	}
	return table.NewPanelBuilder().Title(s.title).Description(s.about).Datasource(source(Prometheus)).
		GridPos(s.at).Unit(s.unit).
		WithTarget(q.RefId("A").Format(prometheus.PromQueryFormatTable)).
		WithTransformation(dashboard.DataTransformerConfig{
			Id: "organize", Options: map[string]any{"excludeByName": hidden},
		}).
		ShowHeader(true).
		Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{}))
}
