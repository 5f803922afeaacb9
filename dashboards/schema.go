//lint:file-ignore SA1019 the classic form is what every version of the viewer imports; the newer one is not

package dashboards

import "github.com/grafana/grafana-foundation-sdk/go/dashboard"

// Dashboard is a board in the viewer's classic form.
type Dashboard = dashboard.Dashboard

type builder = dashboard.DashboardBuilder

func newBuilder(title string) *builder { return dashboard.NewDashboardBuilder(title) }
