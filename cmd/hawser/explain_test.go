package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"hawser/services/caution"
	"hawser/services/evidence"
)

// row is a reading as it stands in the file.
type row struct {
	at    time.Time
	value float64 // NaN for what is no number
}

// rows reads a recording with nothing of ours, by channel in order of time.
func rows(t *testing.T, path string) map[string][]row {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]row{}
	for _, r := range all[1:] {
		at, err := time.Parse(time.RFC3339Nano, r[0])
		if err != nil {
			ms, err := strconv.ParseInt(r[0], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			at = time.UnixMilli(ms).UTC()
		}
		v, err := strconv.ParseFloat(r[2], 64)
		if err != nil {
			v = math.NaN()
		}
		out[r[1]] = append(out[r[1]], row{at, v})
	}
	for _, rs := range out {
		slices.SortStableFunc(rs, func(a, b row) int { return a.at.Compare(b.at) })
	}
	return out
}

// mean is the mean of the good rows from a time up to and without another.
func mean(rs []row, from, to time.Time) (m float64, n int) {
	for _, r := range rs {
		if !r.at.Before(from) && r.at.Before(to) && !math.IsNaN(r.value) {
			m += r.value
			n++
		}
	}
	return m / float64(n), n
}

// medians are the good rows, each the median of itself and the two before.
func medians(rs []row) []row {
	good := slices.DeleteFunc(slices.Clone(rs), func(r row) bool { return math.IsNaN(r.value) })
	out := slices.Clone(good)
	for k := 2; k < len(good); k++ {
		three := []float64{good[k-2].value, good[k-1].value, good[k].value}
		slices.Sort(three)
		out[k].value = three[1]
	}
	return out
}

func clockOf(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// explained replays a recording with --explain and reads back the accounts in
// the order of the alarms.
func explained(t *testing.T, plan, path string) (changes string, accounts []evidence.Account, pictures []string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "why")
	changes, _ = hawser(t, "replay", "--plan", planFile(plan), "--explain", dir, path)
	names, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var a evidence.Account
		dec := json.NewDecoder(bytes.NewReader(text))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&a); err != nil {
			t.Fatal(err)
		}
		svg, err := os.ReadFile(strings.TrimSuffix(name, ".json") + ".svg")
		if err != nil {
			t.Fatal(err)
		}
		accounts, pictures = append(accounts, a), append(pictures, string(svg))
	}
	return changes, accounts, pictures
}

// Each alarm has its account and its picture, and the changes stay what they are.
func TestExplainAccountsForEachAlarm(t *testing.T) {
	path := record(t, "tanker-12", 7, nil)
	plain, _ := hawser(t, "replay", "--plan", planFile("tanker-12"), path)
	changes, accounts, pictures := explained(t, "tanker-12", path)
	if changes != plain {
		t.Error("the changes differ with --explain")
	}
	k := 0
	for dec := json.NewDecoder(strings.NewReader(changes)); ; {
		var c line
		if err := dec.Decode(&c); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if c.State != "raised" {
			continue
		}
		if k == len(accounts) {
			t.Fatalf("%d accounts, and more alarms", k)
		}
		a := &accounts[k]
		if a.Condition != c.Condition || a.Said != c.Time || a.Detail != c.Detail || *a.Group != *c.Group || (a.Line == nil) != (c.Line == nil) || a.Line != nil && *a.Line != *c.Line {
			t.Errorf("account %d is of %s at %s, the alarm is %s at %s", k+1, a.Condition, a.Said, c.Condition, c.Time)
		}
		if a.Statistic == nil || a.Statistic.Value == nil || a.Statistic.Threshold == nil || len(a.Lines) != 12 || a.Caution != caution.Full {
			t.Errorf("account of %s lacks something: %+v", a.Condition, a)
		}
		picture(t, a, pictures[k])
		k++
	}
	if k != len(accounts) || k < 4 {
		t.Errorf("%d alarms, %d accounts", k, len(accounts))
	}
}

// picture is XML that says what it shows, with units, times and the caution.
func picture(t *testing.T, a *evidence.Account, svg string) {
	t.Helper()
	var said strings.Builder
	for dec := xml.NewDecoder(strings.NewReader(svg)); ; {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("picture of %s: %v", a.Condition, err)
		}
		if c, ok := token.(xml.CharData); ok {
			said.Write(c)
		}
	}
	words := strings.Join(strings.Fields(said.String()), " ")
	want := []string{a.Condition, "Load, kN", "What decided: " + a.Statistic.What, "said " + clockOf(t, a.Said).Format("15:04:05.0"),
		"The whole mooring deck is dangerous", "Figures are estimates, not permission", a.Berth, "Times are UTC"}
	if a.Onset != nil {
		want = append(want, clockOf(t, *a.Onset).Format("15:04:05.0"))
	}
	if a.Line != nil {
		want = append(want, "line "+*a.Line, "working load limit")
	}
	for _, w := range want {
		if !strings.Contains(words, w) {
			t.Errorf("picture of %s does not say %q: %s", a.Condition, w, words)
		}
	}
}

// The figures of the accounts are those of the recording, worked out here from
// its rows alone.
func TestExplainFiguresAreOfTheRecording(t *testing.T) {
	path := record(t, "tanker-12", 7, nil)
	_, accounts, _ := explained(t, "tanker-12", path)
	file := rows(t, path)
	near := func(what string, got *float64, want, within float64) {
		t.Helper()
		if got == nil || math.Abs(*got-want) > within {
			t.Errorf("%s: %v, by the rows %v", what, got, want)
		}
	}
	told := map[string]int{}
	for _, a := range accounts {
		told[a.Condition]++
		said := clockOf(t, a.Said)
		for _, l := range a.Lines {
			what := fmt.Sprintf("%s on %v, line %s", a.Condition, *a.Line, l.ID)
			tension := file[l.ID+"/tension"]
			before, n := mean(tension, clockOf(t, a.Before.From), clockOf(t, a.Before.To))
			later, m := mean(tension, clockOf(t, a.After.From), clockOf(t, a.After.To))
			if n > 0 {
				near(what+" before", l.Before, before, 0.001)
			}
			if m > 0 {
				near(what+" after", l.After, later, 0.001)
			}
			if n > 0 && m > 0 {
				near(what+" change", l.Change, later-before, 0.001)
			}
			if l.Said != nil && l.Expected != nil {
				near(what+" residual", l.Residual, *l.Said-*l.Expected, 0.002)
			}
			smooth := medians(tension)
			k, _ := slices.BinarySearchFunc(smooth, said, func(r row, at time.Time) int { return r.at.Compare(at) })
			if l.Said != nil {
				near(what+" said", l.Said, smooth[k-1].value, 0.001)
			}
			if l.Role == "concerned" && l.ID != *a.Line || l.Role == "same group" && l.Group != *a.Group {
				t.Errorf("%s: %q", what, l.Role)
			}
		}
		switch a.Condition {
		case "brake-slip":
			// paid out: the newest median of three less the least of the last minute
			smooth := medians(file[*a.Line+"/payout"])
			least, newest := math.Inf(1), 0.0
			for _, r := range smooth {
				if r.at.Before(said) && said.Sub(r.at) <= time.Minute {
					least, newest = min(least, r.value), r.value
				}
			}
			near("paid out", a.Statistic.Value, newest-least, 0.001)
			near("slip told from", a.Statistic.Threshold, 0.05, 0)
			if *a.Statistic.Value < 0.05 || a.Statistic.Told != "at or over" {
				t.Errorf("statistic %+v", a.Statistic)
			}
		case "sensor-fault":
			if a.Statistic.What != "time since the last reading of the pin" {
				break
			}
			var last time.Time
			for _, r := range file[*a.Line+"/tension"] {
				if r.at.Before(said) {
					last = r.at
				}
			}
			near("silence", a.Statistic.Value, said.Sub(last).Seconds(), 0.001)
			told["silence"]++
		case "line-parted":
			for _, l := range a.Lines {
				if l.Role == "concerned" && (*l.Before < 50 || math.Abs(*l.After) > 5 || *l.Brake != "set") {
					t.Errorf("line %s parted from %v to %v kN, brake %s", l.ID, *l.Before, *l.After, *l.Brake)
				}
			}
			if *a.Onset != a.Before.To {
				t.Errorf("before ends at %s, the onset is %s", a.Before.To, *a.Onset)
			}
		}
	}
	for _, c := range []string{"brake-slip", "line-parted", "sensor-fault", "silence"} {
		if told[c] == 0 {
			t.Errorf("the recording tells no %s: %v", c, told)
		}
	}
}

// The summary counts what the changes tell and what the file holds.
func TestSummary(t *testing.T) {
	path := record(t, "tanker-12", 7, nil)
	out := filepath.Join(t.TempDir(), "changes.jsonl")
	table, _ := hawser(t, "replay", "--plan", planFile("tanker-12"), "--out", out, "--summary", path)
	raised, cleared, first := map[string]int{}, map[string]int{}, map[string]string{}
	for _, c := range replayed(t, "tanker-12", path) {
		if c.State != "raised" {
			cleared[c.Condition]++
		} else if raised[c.Condition]++; raised[c.Condition] == 1 {
			first[c.Condition] = c.Time
		}
	}
	for _, condition := range []string{"line-parted", "over-limit", "brake-slip", "redistribution", "snap-load", "approaching-limit", "imbalance", "slack-line", "sensor-fault"} {
		k := strings.Index(table, "\n"+condition+" ")
		if k < 0 {
			t.Errorf("no row for %s in\n%s", condition, table)
			continue
		}
		row, _, _ := strings.Cut(table[k+1:], "\n")
		w := strings.Fields(row)
		if w[1] != strconv.Itoa(raised[condition]) || w[2] != strconv.Itoa(cleared[condition]) || w[3] != strconv.Itoa(raised[condition]-cleared[condition]) ||
			first[condition] != "" && !strings.Contains(row, first[condition]) {
			t.Errorf("row %q; raised %d, cleared %d, first at %s", row, raised[condition], cleared[condition], first[condition])
		}
	}
	readings, bad := 0, 0
	for _, rs := range rows(t, path) {
		readings += len(rs)
		for _, r := range rs {
			if math.IsNaN(r.value) {
				bad++
			}
		}
	}
	if want := fmt.Sprintf("\n%d readings of ", readings); !strings.Contains(table, want) || !strings.Contains(table, fmt.Sprintf(": %d bad, 0 late, 0 of unknown", bad)) || bad == 0 {
		t.Errorf("want %d readings, %d bad, in\n%s", readings, bad, table)
	}
	if !strings.Contains(table, "whole mooring deck is dangerous") {
		t.Error("the summary gives no caution")
	}
	changes, notes := hawser(t, "replay", "--plan", planFile("tanker-12"), "--summary", path)
	if want, err := os.ReadFile(out); err != nil || changes != string(want) || !strings.Contains(notes, table) {
		t.Errorf("with the changes on standard output the table is not on standard error alone: %v", err)
	}
}
