package deployed_test

import (
	"encoding/json"
	"math"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/ingest/simulate/recorded"
)

// readersOfExports are programs of others that read what hawser writes.
var readersOfExports = []string{"@duckdb/node-api@1.5.6-r.1", "apache-arrow@21.2.0"}

// found is what those readers find in exports.
type found struct {
	Parquet, CSV, Arrow []foundChannel
	Types               []struct {
		Name string `json:"column_name"`
		Type string `json:"column_type"`
	}
	Span                         struct{ First, Last string }
	Notes, StepNotes, ArrowNotes map[string]string
	ArrowTypes                   []string
	Steps                        struct{ Differ, Rows, Want int }
}

type foundChannel struct {
	Channel, Unit, Berth string
	Count                int
	Sum                  float64
}

// Exports of a server's history and of a recording hold every good reading with its
// unit, the plan, and steps that are those that a database reckons from the
// readings.
func TestExportsAreReadByOthers(t *testing.T) {
	readers := t.TempDir()
	install := exec.Command(need(t, "npm"), append([]string{"install", "--no-audit", "--no-fund", "--prefix", readers}, readersOfExports...)...)
	if out, err := install.CombinedOutput(); err != nil {
		t.Fatalf("npm install: %v\n%s", err, out)
	}
	plan := loadPlan(t, "tanker-12")
	path := recorded.Write(t, plan, storyWithBadPins(plan, 170*time.Second))
	want, batches, first, last := readingsIn(t, path)
	st := serve(t, inClear(), "--data", t.TempDir())
	send := start(t, hawser, "send", "--plan", planPath("tanker-12"), "--to", st.grpc, path)
	if send.wait(); send.err != nil {
		t.Fatalf("send: %v\n%s", send.err, send.out.String())
	}
	st.watched(plan.Berth, float64(batches))
	st.stored(plan.Berth, first, last, want)

	dir := t.TempDir()
	write := func(name string, args ...string) string {
		t.Helper()
		out := filepath.Join(dir, name)
		p := start(t, hawser, append([]string{"export", "--out", out}, args...)...)
		if p.wait(); p.err != nil {
			t.Fatalf("export %s: %v\n%s", name, p.err, p.out.String())
		}
		return out
	}
	const step = 10
	span := []string{"--server", st.url, "--berth", plan.Berth,
		"--from", first.UTC().Format(time.RFC3339Nano), "--to", last.UTC().Format(time.RFC3339Nano)}
	raw := write("raw.parquet", span...)
	steps := write("steps.parquet", append(span, "--step", strconv.Itoa(step)+"s")...)
	csv, arrow := write("raw.csv", span...), write("raw.arrow", span...)
	check(t, read(t, readers, raw, steps, csv, arrow, step), plan.Berth, want, first, last)

	ofRecording := []string{"--plan", planPath("tanker-12"), path}
	raw = write("recording.parquet", ofRecording...)
	csv, arrow = write("recording.csv", ofRecording...), write("recording.arrow", ofRecording...)
	check(t, read(t, readers, raw, steps, csv, arrow, step), plan.Berth, want, first, last)
}

func read(t *testing.T, readers, raw, steps, csv, arrow string, step int) (f found) {
	t.Helper()
	out, err := exec.Command(need(t, "node"), filepath.Join("testdata", "read.cjs"), readers, raw, steps, csv, arrow, strconv.Itoa(step)).Output()
	if err == nil {
		err = json.Unmarshal(out, &f)
	}
	if err != nil {
		if exit, ok := err.(*exec.ExitError); ok {
			t.Fatalf("%v\n%s", err, exit.Stderr)
		}
		t.Fatalf("%v\n%s", err, out)
	}
	return f
}

func check(t *testing.T, f found, berth string, want map[string]total, first, last time.Time) {
	t.Helper()
	for name, channels := range map[string][]foundChannel{"Parquet": f.Parquet, "CSV": f.CSV, "Arrow": f.Arrow} {
		if len(channels) != len(want) {
			t.Errorf("%s: %d channels, sent were %d", name, len(channels), len(want))
		}
		for _, c := range channels {
			w := want[c.Channel]
			parsed, err := reading.ParseChannel(c.Channel)
			if err != nil || c.Unit != parsed.Kind.Unit() || c.Berth != berth {
				t.Errorf("%s: %+v: %v", name, c, err)
			}
			if c.Count != w.count || math.Abs(c.Sum-w.sum) > 1e-9*math.Abs(w.sum)+1e-9 {
				t.Errorf("%s: %+v, sent were %+v", name, c, w)
			}
		}
	}
	types := ""
	for _, c := range f.Types {
		types += c.Name + " " + c.Type + "; "
	}
	if !strings.HasPrefix(types, "time TIMESTAMP") || !strings.HasSuffix(types, "berth VARCHAR; channel VARCHAR; unit VARCHAR; value DOUBLE; ") {
		t.Errorf("columns %s", types)
	}
	if len(f.ArrowTypes) != 5 || f.ArrowTypes[0] != "time Timestamp<NANOSECOND, UTC>" || f.ArrowTypes[4] != "value Float64" {
		t.Errorf("columns %q", f.ArrowTypes)
	}
	if f.Span.First != strconv.FormatInt(first.UnixNano(), 10) || f.Span.Last != strconv.FormatInt(last.Add(-time.Second).UnixNano(), 10) {
		t.Errorf("from %s to %s, sent from %d to %d", f.Span.First, f.Span.Last, first.UnixNano(), last.UnixNano()-1e9)
	}
	if f.Steps.Rows == 0 || f.Steps.Differ != 0 || f.Steps.Rows != f.Steps.Want {
		t.Errorf("of %d steps %d differ from the %d reckoned by the database", f.Steps.Rows, f.Steps.Differ, f.Steps.Want)
	}
	_, message, err := planfile.Load(planPath("tanker-12"))
	if err != nil {
		t.Fatal(err)
	}
	for name, notes := range map[string]map[string]string{"Parquet": f.Notes, "steps": f.StepNotes, "Arrow": f.ArrowNotes} {
		plan, _, err := planfile.Parse("exported", []byte(notes["hawser.plan"]))
		if err != nil || plan.Berth != berth || notes["hawser.plan_fingerprint"] != planfile.Fingerprint(message) {
			t.Errorf("%s: the plan is %q, %v", name, notes["hawser.plan_fingerprint"], err)
		}
		var units map[string]string
		if err := json.Unmarshal([]byte(notes["hawser.units"]), &units); err != nil || units["tension"] != "kN" || units["wind/speed"] != "m/s" {
			t.Errorf("%s: units %q, %v", name, notes["hawser.units"], err)
		}
		if notes["hawser.berth"] != berth || notes["hawser.step"] != map[bool]string{true: "10s", false: "0s"}[name == "steps"] {
			t.Errorf("%s: notes %v", name, notes)
		}
	}
}
