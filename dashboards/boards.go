// Package dashboards makes the boards that are committed beside it, for a
// Grafana-type viewer: berths now and the server itself over Prometheus, history
// over InfluxDB (Flux). It reckons nothing; a test runs every query on real
// servers. Invariant: what is committed is what All gives.
package dashboards

import (
	"bytes"
	"encoding/json"
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

//go:generate go run ./write

// tag is on every board; their links go by it.
const tag = "hawser"

// Kinds of data source.
const (
	Prometheus = "prometheus"
	InfluxDB   = "influxdb"
)

// All gives the boards as JSON by file name.
func All() (map[string][]byte, error) {
	files := map[string][]byte{}
	for name, build := range map[string]func() *builder{
		"berths.json": berths, "server.json": server, "history.json": history,
	} {
		board, err := build().Build()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		var text bytes.Buffer
		enc := json.NewEncoder(&text)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", "  ")
		if err := enc.Encode(board); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = text.Bytes()
	}
	return files, nil
}

// board begins one over a kind of source, which the viewer lets its user choose.
func board(uid, title, about, kind string) *builder {
	return newBuilder(title).
		Uid(uid).Description(about).Tags([]string{tag}).Timezone("utc").
		Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Link(dashboard.NewDashboardLinkBuilder("Boards").
			Type(dashboard.DashboardLinkTypeDashboards).Tags([]string{tag}).KeepTime(true)).
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Source").Type(kind))
}

// source is the chosen one.
func source(kind string) common.DataSourceRef {
	return common.DataSourceRef{Type: &kind, Uid: cog.ToPtr("${source}")}
}

// choice is a variable whose values a query lists.
func choice(name, label, kind, query string) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).Label(label).
		Datasource(source(kind)).Query(dashboard.StringOrMap{String: &query}).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).
		Sort(dashboard.VariableSortNaturalAsc)
}

// several lets a choice be of more than one, all of them at first.
func several(v *dashboard.QueryVariableBuilder) *dashboard.QueryVariableBuilder {
	all := dashboard.StringOrArrayOfString{ArrayOfString: []string{"$__all"}}
	return v.Multi(true).IncludeAll(true).Current(dashboard.VariableOption{
		Text: dashboard.StringOrArrayOfString{ArrayOfString: []string{"All"}}, Value: all,
	})
}
