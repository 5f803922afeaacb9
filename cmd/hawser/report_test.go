package main

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"hawser/ingest/edge"
	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access/keyring"
	"hawser/services/waittest"
)

// section is a section of a report's page, from its title to the next.
func section(t *testing.T, html, title string) string {
	t.Helper()
	_, rest, ok := strings.Cut(html, "</span>"+title+"</h2>")
	if !ok {
		t.Fatalf("no section %q", title)
	}
	body, _, _ := strings.Cut(rest, "</section>")
	return body
}

// A server's report of a stay has the figures of the recording that was sent to it, and
// who took its alarms on; as PDF it is one.
func TestReportOfAServerIsThatOfTheRecording(t *testing.T) {
	t.Parallel()
	tape := newTape(t, "tanker-12", 9, nil)
	dir := t.TempDir()
	offline := filepath.Join(dir, "offline.html")
	hawser(t, "report", "--plan", planFile("tanker-12"), "--out", offline, tape.path)
	want := readFile(t, offline)

	s := startServe(t, t.TempDir())
	tape.send(t, s.grpc)
	s.hasAll(tape)
	waittest.Until(t, "the stay", func() error {
		stays, err := s.staysOf("north-jetty-1")
		if err == nil && (len(stays) != 1 || !stays[0].Newest.Equal(time.Date(2026, 3, 1, 4, 2, 49, 900e6, time.UTC))) {
			err = fmt.Errorf("%+v", stays)
		}
		return err
	})
	alarms := hawserv1.NewAlarmServiceClient(s.dial())
	list, err := alarms.ListAlarms(t.Context(), &hawserv1.ListAlarmsRequest{Berth: "north-jetty-1", IncludeCleared: true})
	if err != nil {
		t.Fatal(err)
	}
	taken := ""
	for _, a := range list.Alarms {
		if a.Priority == hawserv1.AlarmPriority_ALARM_PRIORITY_EMERGENCY {
			taken = a.Detail
			if _, err := alarms.AcknowledgeAlarm(t.Context(), &hawserv1.AcknowledgeAlarmRequest{AlarmId: a.AlarmId, By: "Q. Watch", Note: "tug called"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if taken == "" {
		t.Fatalf("no emergency to take on: %v", list)
	}

	online := filepath.Join(dir, "online.html")
	hawser(t, "report", "--server", "http://"+s.http, "--berth", "north-jetty-1", "--out", online)
	got := readFile(t, online)
	for _, title := range []string{"Loads by group", "Loads by line", "Worst moments", "Tending", "Wind, water and drafts", "Line service added", "Data quality"} {
		if a, b := section(t, got, title), section(t, want, title); a != b {
			t.Errorf("section %q differs from the recording's:\n%s\n\n%s", title, a, b)
		}
	}
	// The load that a line parted at is one figure, where it was told and in the report.
	told := regexp.MustCompile(`parted at (\d+ kN)`).FindStringSubmatch(taken)
	if told == nil || !strings.Contains(section(t, got, "Worst moments"), " UTC, at "+told[1]) {
		t.Errorf("told %q, and the moment: %.300s", taken, section(t, got, "Worst moments"))
	}
	if !strings.Contains(want, "not told; the recording ends at ") {
		t.Error("the recording's end is taken for her departure")
	}
	responses := section(t, got, "Alarms and responses")
	if !regexp.MustCompile(`Q\. Watch, terminal, after \d+ (s|min)[^<]*: tug called`).MatchString(responses) {
		t.Errorf("who acknowledged is not told: %s", responses)
	}
	pdf := filepath.Join(dir, "stay.pdf")
	hawser(t, "report", "--server", "http://"+s.http, "--berth", "north-jetty-1", "--zone", "Europe/London",
		"--from", "2026-03-01T04:00:30Z", "--to", "2026-03-01T04:02:00Z", "--out", pdf)
	if data := readFile(t, pdf); !strings.HasPrefix(data, "%PDF-") {
		t.Errorf("no PDF: %.20q", data)
	}
	for query, code := range map[string]int{"": 400, "berth=north-jetty-1&stay=none": 404, "berth=elsewhere": 404, "berth=north-jetty-1&format=doc": 400,
		"berth=north-jetty-1&zone=Nowhere": 400, "berth=north-jetty-1&from=yesterday": 400, "berth=a&berth=b": 400, "berth=north-jetty-1&colour=red": 400} {
		resp, err := http.Get("http://" + s.http + "/report?" + query)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != code {
			t.Errorf("?%s: %s, want %d", query, resp.Status, code)
		}
	}
}

func readFile(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n")))
}

// A ship's crew is given the report of her own stay and of no other.
func TestReportIsForWhoMaySeeTheStay(t *testing.T) {
	s := startSecured(t, nil)
	_, message, err := planfile.Load(planFile("tanker-12"))
	if err != nil {
		t.Fatal(err)
	}
	load := simulate.NewLoad(12, 1, time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC))
	s.deliver(s.dial(s.tokens["administer"], false), load, edge.Options{Berth: northBerth, Source: "visit", Plan: message})
	waittest.Until(t, "the report", func() error {
		if page := s.get("administer", "/report?berth="+northBerth); !strings.Contains(page, "Loads by line") {
			return fmt.Errorf("%.200s", page)
		}
		return nil
	})
	dir := t.TempDir()
	fetch := func(who string, more ...string) (code int, out, stderr string) {
		out = filepath.Join(dir, who+".html")
		args := append([]string{"report", "--server", s.url(""), "--berth", northBerth, "--out", out}, more...)
		if s.tokens[who] != "" {
			token := filepath.Join(dir, who)
			if err := os.WriteFile(token, []byte(s.tokens[who]+"\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			args = append(args, "--token-file", token)
		}
		code, _, stderr = hawserCode(t, args...)
		return code, out, stderr
	}
	ca := []string{"--ca", filepath.Join(s.dir, keyring.CAFile)}
	if code, out, stderr := fetch("watch", ca...); code != exitOK || !strings.Contains(readFile(t, out), "Loads by line") {
		t.Errorf("hawser report: exit code %d\n%s", code, stderr)
	}
	for _, c := range []struct {
		who  string
		more []string
		says string
	}{
		{"crew of " + townShip, ca, "404 Not Found: no stay at berth " + strconv.Quote(northBerth)},
		{"nobody", ca, "a token is needed: --token-file"},
		{"watch", nil, "certificate signed by unknown authority"},
	} {
		code, out, stderr := fetch(c.who, c.more...)
		if code != exitFailed || !strings.Contains(stderr, c.says) {
			t.Errorf("%s %q: exit code %d, %s; want 1, %q", c.who, c.more, code, stderr, c.says)
		}
		if left, _ := filepath.Glob(out + ".part"); left != nil {
			t.Errorf("%s: left over", left)
		}
	}
	for who, want := range map[string]string{"crew of " + northShip: "200 OK", "watch": "200 OK", "crew of " + townShip: "404 Not Found", "crew of Curlew": "404 Not Found"} {
		if status, _, _ := strings.Cut(s.get(who, "/report?berth="+northBerth), "\n"); status != want {
			t.Errorf("%s: %s, want %s", who, status, want)
		}
	}
}

func TestReportMistakes(t *testing.T) {
	path := record(t, "tanker-12", 9, nil)
	plan := planFile("tanker-12")
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--plan", plan, path}, exitUsage, "--out must be given"},
		{[]string{"--plan", plan, "--out", "a.doc", path}, exitUsage, "neither in .pdf nor in .html"},
		{[]string{"--out", "a.pdf", path}, exitUsage, "either --server, or --plan"},
		{[]string{"--plan", plan, "--server", "http://127.0.0.1:1", "--out", "a.pdf", path}, exitUsage, "either --server, or --plan"},
		{[]string{"--plan", plan, "--out", "a.pdf"}, exitUsage, "the recording must be given"},
		{[]string{"--server", "http://127.0.0.1:1", "--out", "a.pdf"}, exitUsage, "--berth must be given"},
		{[]string{"--server", "berths.example:7410", "--berth", "east-3", "--out", "a.pdf"}, exitUsage, "must be http://HOST:PORT or https://HOST:PORT"},
		{[]string{"--server", "http://127.0.0.1:1", "--berth", "east-3", "--token-file", plan, "--out", "a.pdf"}, exitUsage, "go over TLS only"},
		{[]string{"--plan", plan, "--ca", "ca.crt", "--out", "a.pdf", path}, exitUsage, "--berth, --ca and --token-file go with --server"},
		{[]string{"--plan", plan, "--zone", "Nowhere", "--out", "a.pdf", path}, exitUsage, `"Nowhere" is no time zone`},
		{[]string{"--plan", plan, "--from", "noon", "--out", "a.pdf", path}, exitUsage, `invalid argument "noon" for "--from" flag: expected RFC 3339`},
		{[]string{"--plan", plan, "--from", "2026-03-02T00:00:00Z", "--to", "2026-03-01T00:00:00Z", "--out", "a.pdf", path}, exitUsage, "--from must be before --to"},
		{[]string{"--plan", plan, "--stay", "other", "--out", filepath.Join(t.TempDir(), "a.pdf"), path}, exitFailed, "no stay other in it"},
		{[]string{"--plan", plan, "--out", filepath.Join(t.TempDir(), "a.pdf"), plan}, exitBadInput, "tanker-12.yaml:1:"},
	} {
		code, _, stderr := hawserCode(t, append([]string{"report"}, c.args...)...)
		if code != c.code || !strings.Contains(stderr, c.says) {
			t.Errorf("%q: code %d, %s; want %d, %q", c.args, code, stderr, c.code, c.says)
		}
	}
}
