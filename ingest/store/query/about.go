package query

import (
	"net/http"
	"runtime"
	"runtime/debug"
	"strings"
)

type metricAbout struct {
	Type string `json:"type"`
	Help string `json:"help"`
	Unit string `json:"unit"`
}

func (a *API) metadata(_ *http.Request, f *form) (any, []string, error) {
	out, only, limit := map[string][]metricAbout{}, f.text("metric"), f.limit()
	for _, m := range a.o.Metadata {
		if (only == "" || only == m.Name) && (limit == 0 || len(out) < limit) {
			out[m.Name] = []metricAbout{{Type: "gauge", Help: m.Help, Unit: m.Unit}}
		}
	}
	return out, nil, f.err
}

// buildInfo tells the version of the query language, by which viewers choose what
// they ask for.
func (a *API) buildInfo(*http.Request, *form) (any, []string, error) {
	about := struct {
		Version   string `json:"version"`
		Revision  string `json:"revision"`
		Branch    string `json:"branch"`
		BuildUser string `json:"buildUser"`
		BuildDate string `json:"buildDate"`
		GoVersion string `json:"goVersion"`
	}{Version: "3.0.0", GoVersion: runtime.Version()}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, m := range info.Deps {
			// As a module, Prometheus 3.5.0 is v0.305.0.
			if minor, ok := strings.CutPrefix(m.Version, "v0.3"); ok && m.Path == "github.com/prometheus/prometheus" {
				about.Version = "3." + strings.TrimPrefix(minor, "0")
			}
		}
	}
	return about, nil, nil
}
