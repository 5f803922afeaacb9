package deployed_test

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/recording"
	"hawser/ingest/simulate"
	"hawser/ingest/simulate/recorded"
	"hawser/ingest/store/realserver"
	"hawser/services/waittest"
)

// A board as far as its queries go.
type board struct {
	Panels []struct {
		Type, Title string
		Repeat      string
		FieldConfig struct {
			Defaults struct{ DisplayName string }
		}
		Targets []struct {
			RefID, Expr, Query, LegendFormat string
			Instant                          bool
		}
	}
	Templating struct {
		List []struct {
			Name, Type, AllValue string
			Query                string
		}
	}
}

func readBoard(t *testing.T, name string) (b board) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(root, "dashboards", name))
	if err == nil {
		err = json.Unmarshal(data, &b)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Every query of every board gives something, and every series has the labels that
// its name is made of: a real Prometheus scrapes a server with the demo's story,
// which keeps its history in a real InfluxDB and tells a webhook of its alarms.
func TestEveryQueryOfTheBoards(t *testing.T) {
	began := time.Now()
	influx := startInflux(t)
	st := serve(t, inClear(), "--data", t.TempDir(), "--config", settingsWithWebhook(t),
		"--store", "influxdb", "--influxdb-url", influx, "--influxdb-bucket", "moorings/autogen")
	prom := startPrometheus(t, st.pages)

	plan := loadPlan(t, "tanker-12")
	const length, pace = 170 * time.Second, 20
	path := recorded.Write(t, plan, storyWithBadPins(plan, length))
	// It ends a little before now.
	starting := time.Now().Add(-length - 5*time.Second).UTC().Format(time.RFC3339)
	send := start(t, hawser, "send", "--plan", planPath("tanker-12"), "--to", st.grpc,
		"--pace", strconv.Itoa(pace), "--starting", starting, path)
	if send.wait(); send.err != nil {
		t.Fatalf("send: %v\n%s", send.err, send.out.String())
	}

	for _, name := range []string{"berths.json", "server.json"} {
		t.Run(name, func(t *testing.T) { promBoard(t, prom, readBoard(t, name), began) })
	}
	t.Run("history.json", func(t *testing.T) {
		span := fluxSpan{influx: influx, from: began.Add(-length - time.Minute)}
		fluxBoard(t, span, readBoard(t, "history.json"))
		highestShares(t, span, plan, path)
	})
}

func startInflux(t *testing.T) (url string) {
	t.Helper()
	path, err := realserver.FindInfluxd(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	server, err := realserver.NewInfluxd(path, t.TempDir())
	if err == nil {
		t.Cleanup(func() { _ = server.Kill() })
		err = server.Start(t.Context())
	}
	if err == nil {
		err = server.CreateDatabase(t.Context(), "moorings")
	}
	if err != nil {
		t.Fatal(err)
	}
	return server.URL
}

// settingsWithWebhook is a settings file with a destination that takes all.
func settingsWithWebhook(t *testing.T) string {
	t.Helper()
	office := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { _, _ = io.Copy(io.Discard, r.Body) }))
	t.Cleanup(office.Close)
	dir := t.TempDir()
	secret, config := filepath.Join(dir, "office.secret"), filepath.Join(dir, "hawser.yaml")
	err := os.WriteFile(secret, []byte("whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="), 0o600)
	if err == nil {
		err = os.WriteFile(config, fmt.Appendf(nil, "deliver:\n  webhooks:\n    - {name: office, url: %q, secret_file: %q}\n", office.URL, secret), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return config
}

// startPrometheus starts one with the configuration that is handed out, only that
// it scrapes faster and the test's server.
func startPrometheus(t *testing.T, target string) (url string) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(root, "deploy", "prometheus", "prometheus.yml"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	config := strings.NewReplacer("interval: 5s", "interval: 1s", "127.0.0.1:7410", target).Replace(string(data))
	if config == string(data) {
		t.Fatal("the configuration has another form")
	}
	rules, err := os.ReadFile(filepath.Join(root, "deploy", "prometheus", "rules.yml"))
	if err == nil {
		err = errors.Join(os.WriteFile(filepath.Join(dir, "prometheus.yml"), []byte(config), 0o600),
			os.WriteFile(filepath.Join(dir, "rules.yml"), rules, 0o600))
	}
	if err != nil {
		t.Fatal(err)
	}
	listen := freeAddress(t)
	start(t, need(t, "prometheus"), "--config.file", filepath.Join(dir, "prometheus.yml"),
		"--storage.tsdb.path", filepath.Join(dir, "data"), "--web.listen-address", listen)
	url = "http://" + listen
	waittest.Until(t, "Prometheus to be ready", func() error { _, err := inClear().get(url + "/-/ready"); return err })
	return url
}

// storyWithBadPins is the demo's, with readings that are no numbers.
func storyWithBadPins(plan *mooring.Plan, length time.Duration) simulate.Story {
	story := recorded.Demo(plan, length)
	last := plan.Lines[len(plan.Lines)-1].ID
	story.Events = append(story.Events, simulate.Event{At: 20 * time.Second, Kind: simulate.NotANumber, Line: last, For: 25 * time.Second})
	return story
}

// series is one of an answer: its labels, and whether it has a number.
type series struct {
	labels map[string]string
	number bool
}

// promBoard asks what a board asks.
func promBoard(t *testing.T, prom string, b board, began time.Time) {
	fill := map[string]string{"$__rate_interval": "5s"}
	for _, v := range b.Templating.List {
		if v.Type != "query" {
			continue
		}
		m := regexp.MustCompile(`^label_values\((\w+), (\w+)\)$`).FindStringSubmatch(v.Query)
		if m == nil {
			t.Fatalf("variable %s: query %q", v.Name, v.Query)
		}
		waittest.Until(t, "values of "+v.Name, func() error {
			var answer struct{ Data []string }
			body, err := inClear().get(prom + "/api/v1/label/" + m[2] + "/values?" + url.Values{"match[]": {m[1]}}.Encode())
			if err == nil {
				err = json.Unmarshal(body, &answer)
			}
			if err == nil && len(answer.Data) == 0 {
				err = errors.New("none")
			}
			return err
		})
		fill["$"+v.Name] = v.AllValue // as the viewer has it when all are chosen
	}
	asked := 0
	for _, p := range b.Panels {
		for _, q := range p.Targets {
			asked++
			expr := filled(t, q.Expr, fill)
			params := url.Values{"query": {expr}}
			path := "/api/v1/query"
			if !q.Instant {
				path = "/api/v1/query_range"
				params.Set("start", strconv.FormatInt(began.Unix(), 10))
				params.Set("step", "1")
			}
			waittest.Until(t, p.Title+": "+expr, func() error {
				if !q.Instant {
					params.Set("end", strconv.FormatInt(time.Now().Unix(), 10))
				}
				got, err := askPrometheus(prom + path + "?" + params.Encode())
				if err != nil {
					return err
				}
				return named(got, q.LegendFormat, regexp.MustCompile(`\{\{(\w+)\}\}`))
			})
		}
	}
	if asked < 10 {
		t.Errorf("only %d queries", asked)
	}
}

// filled puts values for the variables of a query; none may be left.
func filled(t *testing.T, query string, fill map[string]string) string {
	t.Helper()
	for name, value := range fill {
		query = strings.ReplaceAll(query, name, value)
	}
	if strings.Contains(query, "$") {
		t.Fatalf("a variable is left in %s", query)
	}
	return query
}

func askPrometheus(url string) ([]series, error) {
	body, err := inClear().get(url)
	if err != nil {
		return nil, err
	}
	var answer struct {
		Data struct {
			Result []struct {
				Metric map[string]string
				Value  []any
				Values [][]any
			}
		}
	}
	if err := json.Unmarshal(body, &answer); err != nil {
		return nil, err
	}
	var all []series
	for _, r := range answer.Data.Result {
		s := series{labels: r.Metric}
		if r.Value != nil {
			r.Values = append(r.Values, r.Value)
		}
		for _, v := range r.Values {
			s.number = s.number || len(v) == 2 && v[1] != "NaN"
		}
		all = append(all, s)
	}
	return all, nil
}

// named wants series with numbers, and in each the labels of the pattern that
// names it.
func named(got []series, pattern string, label *regexp.Regexp) error {
	if !slices.ContainsFunc(got, func(s series) bool { return s.number }) {
		return fmt.Errorf("no data in %d series", len(got))
	}
	for _, m := range label.FindAllStringSubmatch(pattern, -1) {
		for _, s := range got {
			if s.labels[m[1]] == "" {
				return fmt.Errorf("a series %v has no label %s for its name %q", s.labels, m[1], pattern)
			}
		}
	}
	return nil
}

// fluxSpan is a server and the beginning of the span on the board.
type fluxSpan struct {
	influx string
	from   time.Time
}

// ask runs a query with the viewer's variables put in as it does, and gives the
// columns of each row.
func (s fluxSpan) ask(t *testing.T, query string, fill map[string]string) ([]map[string]string, error) {
	t.Helper()
	all := map[string]string{
		"v.defaultBucket": `"moorings/autogen"`, "v.timeRangeStart": s.from.UTC().Format(time.RFC3339),
		"v.timeRangeStop": time.Now().UTC().Add(time.Second).Format(time.RFC3339), "v.windowPeriod": "10s",
	}
	for k, v := range fill {
		all["${"+k+"}"] = v
	}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.influx+"/api/v2/query", strings.NewReader(filled(t, query, all)))
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/vnd.flux")
	req.Header.Set("Accept", "application/csv")
	body, err := inClear().do(req)
	if err != nil {
		return nil, err
	}
	return rows(string(body))
}

// rows reads the annotated CSV of Flux: tables apart by empty lines, each with its
// header.
func rows(text string) (all []map[string]string, err error) {
	for table := range strings.SplitSeq(strings.ReplaceAll(text, "\r\n", "\n"), "\n\n") {
		r := csv.NewReader(strings.NewReader(table))
		r.Comment = '#'
		records, err := r.ReadAll()
		if err != nil {
			return nil, err
		}
		for i := 1; i < len(records); i++ {
			row := map[string]string{}
			for j, name := range records[0] {
				row[name] = records[i][j]
			}
			if row["error"] != "" {
				return nil, errors.New(row["error"])
			}
			all = append(all, row)
		}
	}
	return all, nil
}

// fluxBoard asks what a board asks, a repeated panel for each value.
func fluxBoard(t *testing.T, span fluxSpan, b board) {
	values := map[string][]string{}
	fill := map[string]string{}
	for _, v := range b.Templating.List {
		if v.Type != "query" {
			continue
		}
		waittest.Until(t, "values of "+v.Name, func() error {
			got, err := span.ask(t, v.Query, fill)
			if err != nil {
				return err
			}
			values[v.Name] = nil
			for _, row := range got {
				values[v.Name] = append(values[v.Name], row["_value"])
			}
			if len(values[v.Name]) == 0 || slices.Contains(values[v.Name], "") {
				return fmt.Errorf("there are %q", values[v.Name])
			}
			return nil
		})
		fill[v.Name] = values[v.Name][0]
	}
	if groups := values["group"]; len(groups) != 6 {
		t.Errorf("groups %q: the plan has all six, each once", groups)
	}
	asked := 0
	for _, p := range b.Panels {
		repeat := []string{""}
		if p.Repeat != "" {
			repeat = values[p.Repeat]
		}
		for _, value := range repeat {
			fill := mapWith(fill, p.Repeat, value)
			for _, q := range p.Targets {
				asked++
				waittest.Until(t, p.Title+" "+value+":\n"+q.Query, func() error {
					got, err := span.ask(t, q.Query, fill)
					if err != nil {
						return err
					}
					var all []series
					for _, row := range got {
						_, err := strconv.ParseFloat(row["_value"], 64)
						all = append(all, series{labels: row, number: err == nil})
					}
					return named(all, p.FieldConfig.Defaults.DisplayName, regexp.MustCompile(`\$\{__field\.labels\.(\w+)\}`))
				})
			}
		}
	}
	if asked < 15 {
		t.Errorf("only %d queries", asked)
	}
}

func mapWith(m map[string]string, key, value string) map[string]string {
	n := map[string]string{key: value}
	for k, v := range m {
		if k != key || key == "" {
			n[k] = v
		}
	}
	return n
}

// highestShares: the board's highest share of MBL of each line is the highest load
// in the recording over the MBL in the plan.
func highestShares(t *testing.T, span fluxSpan, plan *mooring.Plan, path string) {
	want := map[string]float64{}
	r, err := recording.Open(path, recording.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for b, err := range r.Blocks() {
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range b.Series {
			if i := plan.Line(s.Channel.Line); i >= 0 && strings.HasSuffix(s.Channel.String(), "/tension") {
				for _, v := range s.Value {
					if v == v { // not a bad one
						want[s.Channel.Line] = max(want[s.Channel.Line], v/plan.Lines[i].MBLkN)
					}
				}
			}
		}
	}
	for _, p := range readBoard(t, "history.json").Panels {
		if p.Type != "bargauge" {
			continue
		}
		waittest.Until(t, "the highest shares of MBL to be the recording's", func() error {
			rows, err := span.ask(t, p.Targets[0].Query, map[string]string{"berth": plan.Berth})
			if err != nil {
				return err
			}
			if len(rows) != len(want) {
				return fmt.Errorf("%d lines, the recording has %d", len(rows), len(want))
			}
			for _, row := range rows {
				got, err := strconv.ParseFloat(row["_value"], 64)
				if err != nil {
					return err
				}
				if w := want[row["line"]]; math.Abs(got-w) > 1e-9 {
					return fmt.Errorf("line %s: %g, the recording has %g", row["line"], got, w)
				}
			}
			return nil
		})
		return
	}
	t.Error("the board shows no highest shares")
}
