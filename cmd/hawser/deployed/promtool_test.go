package deployed_test

import (
	"fmt"
	"hawser/services/waittest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// Prometheus's own tool asks a server that a recording was sent to. The answers are
// reckoned by hand from the recording: at second i of twenty minutes line 1 has i
// tenths of a kN, which are 100 i newtons.
func TestPromtoolAsks(t *testing.T) {
	promtool := need(t, "promtool")
	plan := loadPlan(t, "tanker-12")
	began := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	var csv strings.Builder
	csv.WriteString("time,channel,value\n")
	for i := range 1200 {
		fmt.Fprintf(&csv, "%s,1/tension,%d.%d\n", began.Add(time.Duration(i)*time.Second).Format(time.RFC3339), i/10, i%10)
	}
	recording := filepath.Join(t.TempDir(), "recording.csv")
	if err := os.WriteFile(recording, []byte(csv.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	st := serve(t, inClear(), "--data", t.TempDir(), "--plan", planPath("tanker-12"))
	if out, err := exec.Command(hawser, "send", "--plan", planPath("tanker-12"), "--to", st.grpc, recording).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	server := "http://" + st.pages
	ask := func(args ...string) ([]string, error) {
		out, err := exec.CommandContext(t.Context(), promtool, append([]string{"query"}, args...)...).CombinedOutput()
		if err != nil {
			return nil, fmt.Errorf("%w: %s", err, out)
		}
		return strings.Split(strings.TrimSpace(string(out)), "\n"), nil
	}
	at := func(seconds int) string { return fmt.Sprint(began.Unix() + int64(seconds)) }
	name := fmt.Sprintf(`hawser_line_tension_newtons{berth=%q, group=%q, line="1"}`, plan.Berth, plan.Lines[plan.Line("1")].Group.String())
	rolled := strings.Replace(name, "newtons{", "newtons:max10m{", 1)
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"instant", "--time", at(1199), server, "hawser_line_tension_newtons"}, []string{fmt.Sprintf("%s => 119900 @[%s]", name, at(1199))}},
		{[]string{"range", "--start", at(0), "--end", at(1199), "--step", "500s", server, "hawser_line_tension_newtons"},
			[]string{name + " =>", "0 @[" + at(0) + "]", "50000 @[" + at(500) + "]", "100000 @[" + at(1000) + "]"}},
		{[]string{"instant", "--time", at(600), server, "hawser_line_tension_newtons:max10m"}, []string{fmt.Sprintf("%s => 59900 @[%s]", rolled, at(600))}},
		{[]string{"instant", "--time", at(600), server, `sum(rate(hawser_line_tension_newtons[5m])) by (group)`},
			[]string{fmt.Sprintf(`{group=%q} => 100 @[%s]`, plan.Lines[plan.Line("1")].Group.String(), at(600))}},
		{[]string{"series", "--match", "hawser_line_tension_newtons", "--start", at(0), "--end", at(1199), server},
			[]string{strings.Replace(name, "hawser_line_tension_newtons{", `{__name__="hawser_line_tension_newtons", `, 1)}},
		{[]string{"labels", "--start", at(0), "--end", at(1199), server, "line"}, []string{"1"}},
	} {
		waittest.Until(t, "the right answer to "+strings.Join(c.args, " "), func() error {
			got, err := ask(c.args...)
			if err != nil {
				return err
			}
			if !slices.Equal(got, c.want) {
				return fmt.Errorf("%q, want %q", got, c.want)
			}
			return nil
		})
	}
	if _, err := ask("instant", server, "hawser_line_tension_newtons{"); err == nil || !strings.Contains(err.Error(), "parse error") {
		t.Errorf("half a query: %v", err)
	}
}
