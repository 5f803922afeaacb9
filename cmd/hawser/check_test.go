package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// spoiled is the tanker's plan with words changed, as a file.
func spoiled(t *testing.T, oldNew ...string) string {
	t.Helper()
	text, err := os.ReadFile(planFile("tanker-12"))
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(oldNew); i += 2 {
		if !strings.Contains(string(text), oldNew[i]) {
			t.Fatalf("the plan has no %q", oldNew[i])
		}
	}
	path := filepath.Join(t.TempDir(), "plan.yaml")
	if err := os.WriteFile(path, []byte(strings.NewReplacer(oldNew...).Replace(string(text))), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Remarks are said after the table and change no exit code. The forward springs
// lie 9 m in over 42 m, arctan(9/42) = 12.1 degrees; the brakes are set to 528
// of 660 kN.
func TestCheckRemarks(t *testing.T) {
	path := spoiled(t, "hook: [14, -5, 5.5]", "hook: [14, -8.7, 5.5]", "hook: [12, -5, 5.5]", "hook: [12, -8.7, 5.5]",
		"brake_render_kN: 396", "brake_render_kN: 528")
	out, _ := hawser(t, "check", path)
	for _, want := range []string{
		"\nserious  all lines: brake set to render at 80 % of MBL; at 60 % the drum gives before the line parts.\n",
		"\npoor     lines 5, 6 (fwd-spring): 12.1° off the ship's side, over 10°.\n",
		"\ntide from 0.1 m to 4.7 m above datum\n",
		cautions,
	} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if table, remark := strings.Index(out, "of MBL  renders"), strings.Index(out, "\nserious"); table < 0 || table > remark {
		t.Errorf("remarks come before the table:\n%s", out)
	}
	if strings.Contains(out, "Source:") {
		t.Errorf("sources without being asked:\n%s", out)
	}
	why, _ := hawser(t, "check", "--why", path)
	for _, want := range []string{
		"         Rule spring-angle: Springs lie within 10 degrees of the ship's side",
		"         Source: MEG 4th edition (2018), as quoted",
	} {
		if !strings.Contains(why, want) {
			t.Errorf("no %q in\n%s", want, why)
		}
	}
}

func TestCheckWithoutRemarks(t *testing.T) {
	out, _ := hawser(t, "check", planFile("carrier-20"))
	if !strings.Contains(out, "\nNo remarks, by the rules that a plan's figures allow. That is no approval.\n") || strings.Contains(out, "tide") {
		t.Errorf("says\n%s", out)
	}
}

// The JSON has every remark with its rule, and lists where there is nothing.
func TestCheckJSON(t *testing.T) {
	type remarks struct {
		Berth, Ship string
		Remarks     []struct {
			Severity, Text, Rule, Says, Source string
			Lines                              []string
		}
	}
	read := func(args ...string) (r remarks) {
		out, _ := hawser(t, append([]string{"check", "--json"}, args...)...)
		d := json.NewDecoder(strings.NewReader(out))
		d.DisallowUnknownFields()
		if err := d.Decode(&r); err != nil || d.More() {
			t.Fatalf("%v in\n%s", err, out)
		}
		return r
	}
	got := read(spoiled(t, "brake_render_kN: 396", "brake_render_kN: 528", "displacement_t: 41000", "displacement_t: 4100"))
	if got.Berth != "north-jetty-1" || got.Ship != "Heron of Aldmouth" || len(got.Remarks) != 3 {
		t.Fatalf("got %+v", got)
	}
	if r := got.Remarks[0]; r.Severity != "serious" || r.Rule != "brake-setting" || len(r.Lines) != 12 || r.Lines[0] != "1" ||
		!strings.Contains(r.Says, "0.60") || !strings.Contains(r.Source, "MEG") {
		t.Errorf("got %+v", r)
	}
	if r := got.Remarks[2]; r.Rule != "displacement" || r.Lines == nil || len(r.Lines) != 0 {
		t.Errorf("got %+v", r)
	}
	if got := read(planFile("carrier-20")); got.Remarks == nil || len(got.Remarks) != 0 {
		t.Errorf("got %+v", got)
	}
}
