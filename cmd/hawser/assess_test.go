package main

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	"hawser/ingest/simulate/recorded"
)

var sharedPlans = []string{"tanker-12", "carrier-20", "coaster-8"}

// assessed is what other programs read of assess --json.
type assessed struct {
	Converged    *bool `json:"converged"`
	Displacement *struct {
		SurgeM *float64 `json:"surge_m"`
		SwayM  *float64 `json:"sway_m"`
		YawDeg *float64 `json:"yaw_deg"`
	} `json:"displacement"`
	Lines []struct {
		Line       string   `json:"line"`
		Group      string   `json:"group"`
		TensionKN  *float64 `json:"tension_kN"`
		ShareOfMBL *float64 `json:"share_of_mbl"`
		Limit      string   `json:"limit"`
		EnergyKJ   float64  `json:"energy_kJ"`
	} `json:"lines"`
	Fenders []struct {
		XM      *float64 `json:"x_m"`
		ForceKN *float64 `json:"force_kN"`
	} `json:"fenders"`
	Without []struct {
		Lost  []string `json:"lost"`
		Worst *struct {
			Line       string  `json:"line"`
			ShareOfMBL float64 `json:"share_of_mbl"`
		} `json:"worst"`
		Cascade   []string   `json:"cascade"`
		TensionKN []*float64 `json:"tension_kN"`
	} `json:"without"`
	WeatherLimit []struct {
		FromDeg   *float64 `json:"from_deg"`
		WindKnots *float64 `json:"wind_knots"`
		Line      *string  `json:"line"`
	} `json:"weather_limit"`
	Force struct {
		SurgeKN float64 `json:"surge_kN"`
		SwayKN  float64 `json:"sway_kN"`
		YawKNm  float64 `json:"yaw_kNm"`
	} `json:"force"`
	Centre struct {
		XM float64 `json:"x_m"`
		YM float64 `json:"y_m"`
	} `json:"centre"`
	HeldShare *float64 `json:"held_share"`
	Ahead     *struct {
		Steps []struct {
			Time      string    `json:"time"`
			LevelM    float64   `json:"level_m"`
			TensionKN []float64 `json:"tension_kN"`
		} `json:"steps"`
	} `json:"ahead"`
	Tending *struct {
		Settles bool `json:"settles"`
	} `json:"tending"`
}

func assessJSON(t *testing.T, args ...string) *assessed {
	t.Helper()
	out, _ := hawser(t, append([]string{"assess", "--json"}, args...)...)
	var a assessed
	if err := json.Unmarshal([]byte(out), &a); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return &a
}

func loadShared(t *testing.T, name string) *mooring.Plan {
	t.Helper()
	p, _, err := planfile.Load(planFile(name))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// What is written holds together by itself: with the plan's coordinates alone, the
// lines' and fenders' loads balance the force to 1e-6 of all of them.
func TestAssessedForcesBalance(t *testing.T) {
	for _, name := range sharedPlans {
		p := loadShared(t, name)
		for _, args := range [][]string{{}, {"--wind", "35@20"}, {"--wind", "28@190", "--level", "3.5"}, {"--current", "1.2@45", "--draft", "5.5,6.5"}} {
			a := assessJSON(t, append(args, "--plan", planFile(name))...)
			up, aft := 0.0, 0.0
			for k, arg := range args {
				switch arg {
				case "--level":
					up, aft = 3.5-p.Reference.WaterLevelM, 3.5-p.Reference.WaterLevelM
				case "--draft":
					up, aft = p.Reference.DraftFwdM-5.5, p.Reference.DraftAftM-6.5
				}
				_ = k
			}
			left, total := imbalance(p, a, up, aft)
			if left > 1e-6*total {
				t.Errorf("%s %v: %g kN of %g out of balance", name, args, left, total)
			}
		}
	}
}

// The wind to reckon with is that at 10 m, and with --gusts the half minutes of it:
// by the power law of 1/7, and by UFC 4-159-03 figure 3-5, from memory, which has
// 1.3235 for 30 s and 1.0500 for 10 minutes, both to the mean of an hour.
func TestAssessWindByHeightAndGust(t *testing.T) {
	args := []string{"--plan", planFile("tanker-12"), "--wind", "30@20"}
	plain := forceOf(assessJSON(t, args...))
	for _, c := range []struct {
		args  []string
		knots float64 // of 30
	}{
		{[]string{"--wind-height", "30"}, 1 / 1.1699},
		{[]string{"--gusts"}, 1.3235 / 1.0500},
		{[]string{"--gusts", "--wind-height", "30"}, 1.3235 / 1.0500 / 1.1699},
	} {
		got := forceOf(assessJSON(t, append(c.args, args...)...))
		if want := plain * c.knots * c.knots; math.Abs(got-want) > 1e-3*want {
			t.Errorf("%v: %.1f kN, want %.1f", c.args, got, want)
		}
	}
}

// Limits of wind are of half minutes and of every line: beside a forecast's wind, and
// beside lines that are lost, the text says so.
func TestAssessSaysWhatItsLimitsAreOf(t *testing.T) {
	limits := func(args ...string) string {
		t.Helper()
		text, _ := hawser(t, append([]string{"assess", "--plan", planFile("tanker-12"), "--wind", "45@48"}, args...)...)
		_, text, _ = strings.Cut(text, "LIMITS OF STEADY WIND")
		text, _, _ = strings.Cut(text, "\n0")
		return text
	}
	// 1.3235/1.0500 as above: 45 kn over ten minutes are 56.7 kn over half a minute.
	if got := limits("--gusts"); !strings.Contains(got, "Compare the 57 kn above with these, not the 45 kn of --wind.") {
		t.Errorf("with --gusts: %q", got)
	}
	if got := limits("--wind-height", "30"); !strings.Contains(got, "Compare the 38 kn above with these, not the 45 kn of --wind.") {
		t.Errorf("with --wind-height: %q", got)
	}
	if got := limits(); !strings.Contains(got, "a forecast's ten-minute mean has half minutes 26 % stronger (--gusts)") {
		t.Errorf("with neither: %q", got)
	}
	if got := limits("--without", "3,4"); !strings.Contains(got, "every line holding, 3 and 4 as well") {
		t.Errorf("with --without: %q", got)
	}
}

// With chosen lines lost all that are left have their loads, as the JSON has them.
func TestAssessTellsAllLoadsOfChosenLoss(t *testing.T) {
	args := []string{"--plan", planFile("tanker-12"), "--wind", "30@60", "--without", "3,4"}
	a := assessJSON(t, args...)
	text, _ := hawser(t, append([]string{"assess"}, args...)...)
	_, text, _ = strings.Cut(text, "IF A LINE IS LOST")
	text, _, _ = strings.Cut(text, "LIMITS OF STEADY WIND")
	for i, l := range a.Lines {
		var row string
		for _, r := range strings.Split(text, "\n") {
			if f := strings.Fields(r); len(f) > 2 && f[0] == l.Line && f[1] == l.Group {
				row = f[2]
			}
		}
		want := ""
		if l.Line != "3" && l.Line != "4" {
			want = fmt.Sprintf("%.0f", *a.Without[0].TensionKN[i])
		}
		if row != want {
			t.Errorf("line %s: %q kN, want %q", l.Line, row, want)
		}
	}
}

func forceOf(a *assessed) float64 { return math.Hypot(a.Force.SurgeKN, a.Force.SwayKN) }

// imbalance sums the forces that the JSON tells, by the plan's coordinates and
// nothing of the mechanics: the force left over and the size of all.
func imbalance(p *mooring.Plan, a *assessed, riseFwd, riseAft float64) (left, total float64) {
	x0, y0 := a.Centre.XM, a.Centre.YM
	surge, sway, yaw := *a.Displacement.SurgeM, *a.Displacement.SwayM, *a.Displacement.YawDeg*math.Pi/180
	sin, cos := math.Sin(yaw), math.Cos(yaw)
	fx, fy, m := a.Force.SurgeKN, a.Force.SwayKN, a.Force.YawKNm
	total = math.Abs(fx) + math.Abs(fy)
	for i, l := range p.Lines {
		dx, dy := l.Fairlead.X-x0, l.Fairlead.Y-y0
		ax, ay := cos*dx-sin*dy, sin*dx+cos*dy
		z := l.Fairlead.Z + (riseFwd+riseAft)/2 + (riseFwd-riseAft)/p.Ship.LoaM*dx
		ux, uy, uz := l.Hook.X-x0-surge-ax, l.Hook.Y-y0-sway-ay, l.Hook.Z-z
		run := math.Sqrt(ux*ux + uy*uy + uz*uz)
		kN := *a.Lines[i].TensionKN
		fx, fy, m = fx+kN*ux/run, fy+kN*uy/run, m+kN*(ax*uy-ay*ux)/run
		total += kN
	}
	for _, f := range a.Fenders {
		// A fender pushes square to the ship's side, at its point on it.
		kN := *f.ForceKN
		arm := *f.XM - x0 - surge
		fx, fy, m = fx-kN*sin/cos, fy+kN, m+kN*(arm-y0*sin)/(cos*cos)
		total += kN
	}
	return math.Abs(fx) + math.Abs(fy) + math.Abs(m)/p.Ship.LoaM, total
}

// The fields other programs read are there, in their units, and say what the
// package says.
func TestAssessJSONIsWhatThePackageSays(t *testing.T) {
	words := []string{"below", "approaching", "working-load", "brake", "breaking"}
	for _, name := range sharedPlans {
		p := loadShared(t, name)
		a := assessJSON(t, "--plan", planFile(name), "--wind", "30@75")
		m := assess.New(p)
		c := assess.Conditions{WindMS: 30 * 1852.0 / 3600, WindFromDeg: 75}
		s, err := m.Steady(c)
		if err != nil {
			t.Fatal(err)
		}
		if !*a.Converged || math.Abs(*a.Displacement.SwayM-s.Pose.SwayM) > 1e-6 || math.Abs(*a.Displacement.YawDeg-s.Pose.YawRad*180/math.Pi) > 1e-6 {
			t.Errorf("%s: displaced %+v, want %+v", name, a.Displacement, s.Pose)
		}
		if len(a.Lines) != len(p.Lines) || len(a.Fenders) != len(p.Fenders) || len(a.Without) != len(p.Lines) || len(a.WeatherLimit) != 72 {
			t.Fatalf("%s: %d lines, %d fenders, %d losses, %d directions", name, len(a.Lines), len(a.Fenders), len(a.Without), len(a.WeatherLimit))
		}
		for i, l := range a.Lines {
			if l.Line != p.Lines[i].ID || math.Abs(*l.TensionKN-s.TensionKN[i]) > 1e-3 ||
				math.Abs(*l.ShareOfMBL*p.Lines[i].MBLkN-*l.TensionKN) > 1e-9 || !slices.Contains(words, l.Limit) || !(l.EnergyKJ > 0) {
				t.Errorf("%s: line %+v, want %g kN", name, l, s.TensionKN[i])
			}
		}
		for k, l := range m.LoseEach(c) {
			got := a.Without[k]
			if got.Lost[0] != p.Lines[l.Lost[0]].ID || got.Worst.Line != p.Lines[l.Worst].ID ||
				math.Abs(got.Worst.ShareOfMBL-m.Share(&l.First, l.Worst)) > 1e-9 || len(got.Cascade) != len(l.Cascade) || got.Cascade == nil {
				t.Errorf("%s: without %+v, want %+v", name, got, l)
			}
		}
		for k, w := range a.WeatherLimit {
			if *w.FromDeg != float64(5*k) || (w.WindKnots == nil) != (w.Line == nil) {
				t.Errorf("%s: weather %+v", name, w)
			}
		}
	}
}

// The wind told as the limit, given back as the wind, puts the line told at its
// working load limit.
func TestAssessWeatherLimitGivenBack(t *testing.T) {
	p := loadShared(t, "tanker-12")
	w := assessJSON(t, "--plan", planFile("tanker-12")).WeatherLimit[8]
	a := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", fmt.Sprintf("%.9g@%g", *w.WindKnots, *w.FromDeg))
	for i, l := range a.Lines {
		share := *l.TensionKN / p.WorkingLoadKN(i)
		if share > 1+1e-5 || l.Line == *w.Line && share < 1-1e-5 {
			t.Errorf("line %s at %.7f of its limit", l.Line, share)
		}
	}
}

func TestAssessWithoutChosenLines(t *testing.T) {
	a := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", "30@60", "--without", "3,4")
	if len(a.Without) != 1 || !slices.Equal(a.Without[0].Lost, []string{"3", "4"}) || *a.Lines[2].TensionKN == 0 {
		t.Errorf("without %+v", a.Without)
	}
}

// A ship on one line swings away in a wind off the quay: no equilibrium is said in
// JSON and in words, and by an exit code of its own.
func TestAssessWithoutEquilibrium(t *testing.T) {
	text, err := os.ReadFile(planFile("coaster-8"))
	if err != nil {
		t.Fatal(err)
	}
	first, _, ok := strings.Cut(string(text), "  - {<<: *head")
	if !ok {
		t.Fatal("the plan is no longer one line and others like it")
	}
	plan := filepath.Join(t.TempDir(), "one-line.yaml")
	if err := os.WriteFile(plan, []byte(first), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := hawserCode(t, "assess", "--json", "--plan", plan, "--wind", "40@304")
	var a assessed
	if err := json.Unmarshal([]byte(out), &a); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if code != exitNotHeld || *a.Converged || a.Displacement != nil || len(a.Lines) != 0 || a.HeldShare == nil || *a.HeldShare >= 1 {
		t.Errorf("exit code %d, %s", code, out)
	}
	if !strings.Contains(errs, "no equilibrium: the mooring can hold") {
		t.Errorf("says %q", errs)
	}
	code, out, _ = hawserCode(t, "assess", "--plan", plan, "--wind", "40@304", "--plots", t.TempDir())
	if code != exitNotHeld || !strings.Contains(out, "NO EQUILIBRIUM") {
		t.Errorf("exit code %d, %s", code, out)
	}
}

// Loads that are given come back, from a file or as the means of a recording.
func TestAssessStartsFromMeasuredLoads(t *testing.T) {
	dir := t.TempDir()
	loads := filepath.Join(dir, "loads.csv")
	if err := os.WriteFile(loads, []byte("line,tension_kN\n# taken at noon\n1,120\n3,140\n4,138\n7,90\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// Two readings of line 3 in the minute, one before it and one after.
	rec := filepath.Join(dir, "rec.csv")
	rows := "time,channel,value\n" +
		"2026-03-01T03:58:30Z,3/tension,500\n" +
		"2026-03-01T03:59:10Z,3/tension,150\n2026-03-01T03:59:10Z,wind/speed,10\n2026-03-01T03:59:10Z,wind/direction,350\n" +
		"2026-03-01T03:59:50Z,3/tension,130\n2026-03-01T03:59:50Z,wind/speed,12\n2026-03-01T03:59:50Z,wind/direction,30\n" +
		"2026-03-01T04:00:10Z,3/tension,500\n"
	if err := os.WriteFile(rec, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	a := assessJSON(t, "--plan", planFile("tanker-12"), "--loads", loads, "--wind", "15@60")
	for i, want := range map[int]float64{0: 120, 2: 140, 3: 138, 6: 90} {
		if math.Abs(*a.Lines[i].TensionKN-want) > 0.01 {
			t.Errorf("line %s: %g kN, measured %g", a.Lines[i].Line, *a.Lines[i].TensionKN, want)
		}
	}
	out, _ := hawser(t, "assess", "--json", "--plan", planFile("tanker-12"), "--at", "2026-03-01T04:00:00Z", rec)
	var b struct {
		assessed
		Conditions struct {
			WindKnots float64 `json:"wind_knots"`
			From      float64 `json:"wind_from_deg"`
		} `json:"conditions"`
	}
	if err := json.Unmarshal([]byte(out), &b); err != nil {
		t.Fatal(err)
	}
	if math.Abs(*b.Lines[2].TensionKN-140) > 0.01 {
		t.Errorf("line 3: %g kN, its mean is 140", *b.Lines[2].TensionKN)
	}
	if again, _ := hawser(t, "assess", "--json", "--plan", planFile("tanker-12"), "--at", "1772337600000", rec); again != out {
		t.Error("the same time in milliseconds is answered otherwise")
	}
	// What is given beside a recording's own is asked, not taken for what blew then.
	same := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", fmt.Sprintf("%g@%g", b.Conditions.WindKnots, b.Conditions.From), "--at", "2026-03-01T04:00:00Z", rec)
	more := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", "45@48", "--at", "2026-03-01T04:00:00Z", rec)
	if math.Abs(*same.Lines[2].TensionKN-140) > 0.01 || *more.Lines[2].TensionKN < 150 {
		t.Errorf("line 3: %g kN in the wind that blew, %g in 45 kn off the quay", *same.Lines[2].TensionKN, *more.Lines[2].TensionKN)
	}
	text, _ := hawser(t, "assess", "--plan", planFile("tanker-12"), "--wind", "45@48", "--at", "2026-03-01T04:00:00Z", rec)
	if want := "Wind 45 kn from 048. Water 2.1 m above datum. Drafts 8.4 m forward, 9.2 m aft. Loads from means over the minute before 2026-03-01T04:00:00Z, of 1 of 12 lines, in wind 21 kn from 010, water 2.1 m, drafts 8.4 m and 9.2 m.\n"; !strings.Contains(text, want) {
		t.Errorf("%q is not in:\n%s", want, text[:min(len(text), 600)])
	}
	// 11 m/s is 21.38 knots; between 350 and 030 lies 010.
	if math.Abs(b.Conditions.WindKnots-21.38) > 0.01 || math.Abs(b.Conditions.From-10) > 1e-6 {
		t.Errorf("wind %+v", b.Conditions)
	}
}

// The hours ahead follow the tide given: at high water each load is that of the
// level alone.
func TestAssessHoursAhead(t *testing.T) {
	dir := t.TempDir()
	tide, cargo := filepath.Join(dir, "tide.csv"), filepath.Join(dir, "cargo.csv")
	if err := os.WriteFile(tide, []byte("time,level_m\n2026-03-01T00:00:00Z,0.5\n2026-03-01T06:00:00Z,4.1\n2026-03-01T12:30:00Z,0.7\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cargo, []byte("time,draft_fwd_m,draft_aft_m\n2026-03-01T00:00:00Z,8.4,9.2\n2026-03-01T12:00:00Z,6.4,8.2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	plots := filepath.Join(dir, "plots")
	a := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", "20@60", "--hours", "12", "--tide", tide, "--cargo", cargo, "--plots", plots)
	if len(a.Ahead.Steps) != 145 {
		t.Fatalf("%d steps", len(a.Ahead.Steps))
	}
	high := a.Ahead.Steps[72]
	if high.Time != "2026-03-01T06:00:00Z" || math.Abs(high.LevelM-4.1) > 1e-9 {
		t.Errorf("at %s %g m", high.Time, high.LevelM)
	}
	then := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", "20@60", "--level", "4.1", "--draft", "7.4,8.7")
	for i, l := range then.Lines {
		if math.Abs(*l.TensionKN-high.TensionKN[i]) > 0.01 {
			t.Errorf("line %s: %g kN ahead, %g kN at that level", l.Line, high.TensionKN[i], *l.TensionKN)
		}
	}
	for _, name := range []string{"mooring.svg", "weather.svg", "hours.svg"} {
		wellFormed(t, filepath.Join(plots, name))
	}
	text, _ := hawser(t, "assess", "--plan", planFile("tanker-12"), "--wind", "20@60", "--hours", "12", "--tide", tide, "--level", "0.9", "--work", "tanker")
	for _, want := range []string{"WORST LINE", "IF A LINE IS LOST", "LIMITS OF STEADY WIND", "THE HOURS AHEAD", "TENDING", "MOTION FOR CARGO WORK", "shifted by +0.40 m", "not permission", "whole mooring deck is dangerous"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q\n%s", want, text)
		}
	}
}

func wellFormed(t *testing.T, path string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for dec := xml.NewDecoder(f); ; {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
	}
}

// Of the same loads, with a wind off the quay that is told and with none told, the loss of
// a line leaves about as much; with a calm that is told much less.
func TestAssessWithoutAWindIsNotTakenForACalm(t *testing.T) {
	p, _, err := planfile.Load(planFile("tanker-12"))
	if err != nil {
		t.Fatal(err)
	}
	off := math.Mod(p.HeadingDeg+90, 360)
	wind := fmt.Sprintf("45@%g", off)
	first := assessJSON(t, "--plan", planFile("tanker-12"), "--wind", wind)
	var rows strings.Builder
	rows.WriteString("line,tension_kN\n")
	for _, l := range first.Lines {
		fmt.Fprintf(&rows, "%s,%g\n", l.Line, *l.TensionKN)
	}
	loads := filepath.Join(t.TempDir(), "loads.csv")
	if err := os.WriteFile(loads, []byte(rows.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	worst := func(args ...string) float64 {
		return assessJSON(t, append([]string{"--plan", planFile("tanker-12"), "--loads", loads}, args...)...).Without[0].Worst.ShareOfMBL
	}
	told, untold, calm := worst("--wind", wind), worst(), worst("--wind", "0@0")
	if untold < 0.97*told || untold > 1.25*told || calm > 0.9*told {
		t.Errorf("of MBL: told %.2f, not told %.2f, calm %.2f", told, untold, calm)
	}
}

// Of a recording in which line 4 has parted by the time asked for, and 3 slipped a minute
// before: 4 counts for nothing, so that no winch heaves in what is not there; a minute
// earlier both hold.
func TestAssessOfARecordingKnowsWhatHasParted(t *testing.T) {
	plan := planFile("tanker-12")
	p, _, err := planfile.Load(plan)
	if err != nil {
		t.Fatal(err)
	}
	path := recorded.Write(t, p, recorded.Demo(p, 200*time.Second))
	r, err := recording.Open(path, recording.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var start time.Time
	for block, err := range r.Blocks() {
		if err != nil {
			t.Fatal(err)
		}
		start = time.Unix(0, block.CompleteUntil).UTC().Add(-time.Second)
		break
	}
	for _, c := range []struct {
		second int
		parted []string
	}{{60, nil}, {195, []string{"4"}}} {
		out, _ := hawser(t, "assess", "--json", "--plan", plan, "--at", start.Add(time.Duration(c.second)*time.Second).Format(time.RFC3339), path)
		var a struct {
			assessed
			Told    struct{ Parted, Slipped []string }
			Tending struct{ Actions []struct{ Line string } }
		}
		if err := json.Unmarshal([]byte(out), &a); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(a.Told.Parted, c.parted) || (len(a.Without) == 12) != (c.parted == nil) {
			t.Errorf("after %d s: told %+v, %d losses reckoned", c.second, a.Told, len(a.Without))
		}
		for _, x := range a.Tending.Actions {
			if slices.Contains(c.parted, x.Line) {
				t.Errorf("after %d s line %s, which has parted, is to be worked", c.second, x.Line)
			}
		}
	}
	text, _ := hawser(t, "assess", "--plan", plan, "--at", start.Add(195*time.Second).Format(time.RFC3339), path)
	if !strings.Contains(text, "Line 4 has parted, or may have, and counts for nothing.\n") || !strings.Contains(text, "Line 3 has slipped") {
		t.Errorf("in words:\n%s", text[:min(len(text), 900)])
	}
}
