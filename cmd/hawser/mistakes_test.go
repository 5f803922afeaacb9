package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

// Mistakes in commands, flags and settings, and in the files they name: one
// clear error each, and the exit code that the help promises. Mistakes inside
// plans, recordings and batches have tables beside their parsers.
func TestMistakesAreTold(t *testing.T) {
	dir := t.TempDir()
	file := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	plan := planFile("tanker-12")
	good := file("good.csv", "time,channel,value\n2026-03-01T04:00:00Z,1/tension,88.5\n")
	text, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	badPlan := file("bad-plan.yaml", strings.Replace(string(text), "berth: north-jetty-1", "berth: North Jetty", 1))
	badRow := file("bad-row.csv", "time,channel,value\n2026-03-01T04:00:00Z,1/tension,88.5\nyesterday,1/tension,90\n")

	assess := func(args ...string) []string { return append([]string{"assess", "--plan", plan}, args...) }
	tide := file("tide.csv", "time,level_m\n2026-03-01T00:00:00Z,1.2\n2026-03-01T06:00:00Z,4.8\n")

	for _, c := range []struct {
		name string
		args []string
		code int
		want string // in the one error
	}{
		{"unknown command", []string{"moor"}, exitUsage, `unknown command "moor"`},
		{"unknown flag", []string{"serve", "--ports", "1"}, exitUsage, "serve: unknown flag: --ports"},
		{"no plan argument", []string{"check"}, exitUsage, "check: 0 arguments were given, and the command is: hawser check [flags] PLAN"},
		{"two plans", []string{"check", plan, plan}, exitUsage, "check: 2 arguments were given, and the command is: hawser check [flags] PLAN"},
		{"argument to serve", []string{"serve", "now"}, exitUsage, "serve: one argument was given, and the command is: hawser serve [flags]"},
		{"replay without plan", []string{"replay", good}, exitUsage, "replay: --plan must be given"},
		{"replay without recording", []string{"replay", "--plan", plan}, exitUsage, "replay: 0 arguments were given, and the command is: hawser replay --plan PLAN [flags] RECORDING"},
		{"plan that is not there", []string{"check", dir + "/none.yaml"}, exitFailed, "none.yaml: no such file"},
		{"plan with a fault", []string{"check", badPlan}, exitBadInput, "bad-plan.yaml:3: berth: "},
		{"replay of a plan with a fault", []string{"replay", "--plan", badPlan, good}, exitBadInput, "bad-plan.yaml:3: berth: "},
		{"recording that is not there", []string{"replay", "--plan", plan, dir + "/none.csv"}, exitFailed, "none.csv: no such file"},
		{"recording with a fault", []string{"replay", "--plan", plan, badRow}, exitBadInput, "bad-row.csv:3: "},
		{"sending a recording with a bad header", []string{"send", "--plan", plan, "--to", "127.0.0.1:1", badPlan}, exitBadInput, "bad-plan.yaml:1: "},
		{"out file in no folder", []string{"replay", "--plan", plan, "--out", dir + "/no/where.jsonl", good}, exitFailed, "where.jsonl: no such file"},
		{"evidence into a file", []string{"replay", "--plan", plan, "--explain", good, good}, exitFailed, "evidence: mkdir " + good},
		{"evidence among other files", []string{"replay", "--plan", plan, "--explain", dir, good}, exitFailed, "evidence: " + dir + " holds "},
		{"negative pace", []string{"send", "--plan", plan, "--pace=-1", good}, exitUsage, "send: --pace: -1 must be from 0"},
		{"pace that is no number", []string{"send", "--plan", plan, "--pace", "fast", good}, exitUsage, `send: invalid argument "fast" for "--pace"`},
		{"pace NaN", []string{"send", "--plan", plan, "--pace", "NaN", good}, exitUsage, "send: --pace: NaN must be from 0"},
		{"window too long", []string{"send", "--plan", plan, "--window", "1h", good}, exitUsage, "send: --window: 1h0m0s must be from"},
		{"start now and faster than time", []string{"send", "--plan", plan, "--starting", "now", "--pace", "4", good}, exitUsage, `send: --starting now: needs --pace 1 or less; faster, it runs ahead of the clock, and the server refuses that`},
		{"start that is no time", []string{"send", "--plan", plan, "--starting", "noon", good}, exitUsage, `send: invalid argument "noon" for "--starting" flag: expected RFC 3339 such as 2026-03-01T04:05:00Z, or Unix milliseconds, or now`},
		{"negative patience", []string{"send", "--plan", plan, "--give-up-after=-1s", good}, exitUsage, "send: --give-up-after: -1s is negative"},
		{"settings not there", []string{"serve", "--config", dir + "/none.yaml"}, exitUsage, "none.yaml: no such file"},
		{"unknown setting", []string{"serve", "--config", file("c1.yaml", "http: 127.0.0.1:0\nportt: 1\n")}, exitUsage, "c1.yaml:2: portt: unknown setting\n"},
		{"setting of a wrong type", []string{"serve", "--config", file("c2.yaml", "journal:\n  max_age: long\n")}, exitUsage, `c2.yaml:2: must be a time with its unit such as 8s or 720h, not "long"` + "\n"},
		{"several wrong settings", []string{"serve", "--config", file("c12.yaml", "silent_after: 5\nplans: east-3\ntls: here\njournal: {replicas: few}\nhttp: [a]\nhtpp: a\n")}, exitUsage,
			dir + `/c12.yaml:1: must be a time with its unit such as 8s or 720h, not "5"` + "\n" + dir + `/c12.yaml:2: must be a list, not "east-3"` + "\n" +
				dir + `/c12.yaml:3: must be a group of settings, not "here"` + "\n" + dir + `/c12.yaml:4: must be a number, not "few"` + "\n" +
				dir + "/c12.yaml:5: must be a text, not a list\n" + dir + "/c12.yaml: and 1 more\n"},
		{"settings that are no YAML", []string{"serve", "--config", file("c13.yaml", "http: [a\ngrpc: b\n")}, exitUsage, "c13.yaml:1: did not find expected ',' or ']'\n"},
		{"priority that is none", []string{"serve", "--data", dir + "/d", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--config",
			file("c4.yaml", "deliver:\n  brokers:\n    - {name: jetty, url: mqtt://there, least: loud}\n")},
			exitUsage, `deliver.brokers[0].least: "loud" is none of emergency, alarm, warning, caution`},
		{"escalation that falls", []string{"serve", "--config", file("c7.yaml", "escalate:\n  alarm: [5m, 1m]\n")}, exitUsage, "escalate.alarm: [5m0s 1m0s]: expected rising times"},
		{"escalation of nothing", []string{"serve", "--config", file("c8.yaml", "escalate:\n  panic: [1m]\n")}, exitUsage, `escalate: "panic" is none of emergency`},
		{"quiet hours that are none", []string{"serve", "--data", dir + "/d", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--config",
			file("c9.yaml", "deliver:\n  brokers:\n    - {name: jetty, url: mqtt://there, quiet: {from: late, to: \"06:00\"}}\n")},
			exitUsage, `deliver.brokers[0].quiet: from: "late" is no time of day`},
		{"webhook without a secret", []string{"serve", "--data", dir + "/d", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--config",
			file("c5.yaml", "deliver:\n  webhooks:\n    - {name: office, url: https://office.example}\n")},
			exitUsage, "deliver.webhooks[0].secret_file: a file with the secret is needed"},
		{"webhook without an address", []string{"serve", "--data", dir + "/d", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--config",
			file("c6.yaml", "deliver:\n  webhooks:\n    - {name: office, url: office, secret_file: "+file("secret", strings.Repeat("YWJj", 10))+"}\n")},
			exitUsage, `webhook office: url: "office": expected http:// or https://HOST`},
		{"rollups of minutes kept shorter than of seconds", []string{"serve", "--config", file("c10.yaml", "store:\n  rollups: {1m: 24h}\n")},
			exitUsage, "store.rollups: 1m: 24h0m0s is shorter than the 8760h0m0s of 10s"},
		{"rollups of no such step", []string{"serve", "--config", file("c11.yaml", "store:\n  rollups: {5m: 24h}\n")}, exitUsage, "c11.yaml:2: 5m: unknown setting\n"},
		{"size without a unit", []string{"serve", "--config", file("c3.yaml", "journal:\n  max_bytes: lots\n")}, exitUsage, `c3.yaml:2: "lots" is no size`},
		{"size flag", []string{"serve", "--journal-max-bytes", "20"}, exitUsage, `"20" is no size; write it as 512MiB or 20GiB`},
		{"store of no known kind", []string{"serve", "--store", "tape"}, exitUsage, `store.kind: "tape" is none of embedded, influxdb, none`},
		{"influxdb without address", []string{"serve", "--store", "influxdb"}, exitUsage, "store: influxdb needs a url and a bucket"},
		{"journal that is no NATS address", []string{"serve", "--journal", "http://127.0.0.1"}, exitUsage, `journal.url: "http://127.0.0.1" must be nats://HOST:PORT or tls://HOST:PORT`},
		{"export of nothing", []string{"export", "--out", filepath.Join(dir, "a.csv")}, exitUsage, "give either --server or a recording"},
		{"export in no form", []string{"export", "--out", filepath.Join(dir, "a.xlsx"), "--plan", plan, good}, exitUsage, `--format: "" is none of parquet, arrow, csv, nor does the file's name say`},
		{"export over a file", []string{"export", "--out", good, "--plan", plan, good}, exitUsage, "--out: " + good + " is there already"},
		{"export of a recording in steps", []string{"export", "--out", filepath.Join(dir, "a.csv"), "--plan", plan, "--step", "10s", good}, exitUsage, "a recording is written whole, as it is"},
		{"export of a bad row", []string{"export", "--out", filepath.Join(dir, "a.csv"), "--plan", plan, badRow}, exitBadInput, "bad-row.csv:3"},
		{"export from no server", []string{"export", "--out", filepath.Join(dir, "a.csv"), "--server", "http://127.0.0.1:1", "--berth", "a", "--from", "2026-03-01T00:00:00Z", "--to", "2026-03-02T00:00:00Z"}, exitFailed, "connection refused"},
		{"two replicas", []string{"serve", "--journal", "nats://127.0.0.1:1", "--journal-replicas", "2"}, exitUsage, "journal.replicas: 2 is none of 1, 3, 5"},
		{"replicas of the journal inside", []string{"serve", "--journal-replicas", "3"}, exitUsage, "are of a NATS server at journal.url"},
		{"a user without a password", []string{"serve", "--config", file("user.yaml", "journal: {url: \"nats://127.0.0.1:1\", user: hawser}\n")}, exitUsage, "a user and a password_file go together"},
		{"certificate for the journal inside", []string{"serve", "--journal-root-cas", "ca.crt"}, exitUsage, "are of a NATS server at journal.url"},
		{"certificate without its key", []string{"serve", "--journal", "tls://127.0.0.1:1", "--journal-client-cert", "c.crt"}, exitUsage, "client_cert and client_key go together"},
		{"two ways to say who it is", []string{"serve", "--journal", "nats://127.0.0.1:1", "--journal-user-credentials", "a.creds", "--journal-token-file", "token"}, exitUsage, "one of user_credentials, user and token_file is enough"},
		{"second server of a cluster that is none", []string{"serve", "--journal", "nats://127.0.0.1:1,127.0.0.1:2"}, exitUsage, `journal.url: "127.0.0.1:2" must be`},
		{"authorities that are not there", []string{"serve", "--data", t.TempDir(), "--journal", "nats://127.0.0.1:1", "--journal-root-cas", "missing.crt"}, exitFailed, "root_cas missing.crt"},
		{"sync too long", []string{"serve", "--journal-sync", "1m"}, exitUsage, "journal.sync: 1m0s must be from 1ms to 10s"},
		{"silent after nothing", []string{"serve", "--silent-after=10ms"}, exitUsage, "silent_after: 10ms must be from 1s to 1h"},
		{"negative clock tolerance", []string{"serve", "--clock-tolerance=-1s"}, exitUsage, "clock_tolerance: -1s is negative"},
		{"retention of nothing", []string{"serve", "--store-retention", "0s"}, exitUsage, "store.retention: 0s must be above zero"},
		{"journal kept for no time", []string{"serve", "--journal-max-age", "0s"}, exitUsage, "journal.max_age: 0s must be above zero"},
		{"no data folder", []string{"serve", "--data", ""}, exitUsage, "data: a folder is needed"},
		{"listening beyond loopback", []string{"serve", "--data", dir + "/d1", "--http", "0.0.0.0:0", "--grpc", "127.0.0.1:0"}, exitFailed, "0.0.0.0:0"},
		{"access without TLS", []string{"serve", "--access", good}, exitUsage, "tls: cert and key must be given where access.file is"},
		{"TLS without access", []string{"serve", "--tls-cert", good, "--tls-key", good}, exitUsage, "access.file: must be given where tls is"},
		{"TLS without its key", []string{"serve", "--tls-cert", good, "--access", good}, exitUsage, "tls: cert and key must be given"},
		{"audit of nothing", []string{"serve", "--audit", good}, exitUsage, "access.audit: there is nothing to audit"},
		{"access file with a fault", []string{"serve", "--data", dir + "/d5", "--tls-cert", good, "--tls-key", good, "--access", file("a1.yaml", "people:\n  - name: desk\n    grants: []\n")},
			exitUsage, "a1.yaml:3: people[0].grants: must be a list"},
		{"certificate that is none", []string{"serve", "--data", dir + "/d6", "--tls-cert", good, "--tls-key", good,
			"--access", file("a2.yaml", "people:\n  - name: desk\n    token: sha256:"+strings.Repeat("0", 64)+"\n    grants: [{role: watch, site: true}]\n")},
			exitUsage, "good.csv and " + dir + "/good.csv: tls: failed to find any PEM data"},
		{"audit log in no folder", []string{"serve", "--data", dir + "/d7", "--tls-cert", good, "--tls-key", good, "--access", good, "--audit", dir + "/no/where.jsonl"},
			exitFailed, "access.audit: open"},
		{"keys for no berth", []string{"keys", dir + "/k1"}, exitUsage, "keys: a berth is needed"},
		{"keys for a berth of no name", []string{"keys", "--berth", "East 3", dir + "/k2"}, exitUsage, `keys: berth "East 3" must match`},
		{"keys for a host with its port", []string{"keys", "--berth", "east-3", "--host", "berths.example:7411", dir + "/k3"}, exitUsage, "leave its port out"},
		{"keys over others", []string{"keys", "--berth", "east-3", dir}, exitUsage, "is left as it is; name a new folder"},
		{"keys in no folder", []string{"keys", "--berth", "east-3", dir + "/no/where"}, exitUsage, "no such file"},
		{"listening on no address", []string{"serve", "--data", dir + "/d2", "--http", "here", "--grpc", "127.0.0.1:0"}, exitFailed, "here"},
		{"serving a plan with a fault", []string{"serve", "--data", dir + "/d3", "--plan", badPlan}, exitBadInput, "bad-plan.yaml:3: berth: "},
		{"token file not there", []string{"serve", "--data", dir + "/d4", "--store", "influxdb", "--influxdb-url", "http://127.0.0.1:1", "--influxdb-bucket", "b", "--influxdb-token-file", dir + "/none"}, exitFailed, "store.token_file: open"},
		{"assess without plan", []string{"assess"}, exitUsage, "assess: --plan must be given"},
		{"assess of a plan with a fault", []string{"assess", "--plan", badPlan}, exitBadInput, "bad-plan.yaml:3: berth: "},
		{"wind without direction", assess("--wind", "35"), exitUsage, `"35" for "--wind" flag: expected knots@degrees such as 35@270`},
		{"wind of words", assess("--wind", "gale@north"), exitUsage, `for "--wind" flag: speed in knots: "gale" is no number`},
		{"wind too strong", assess("--wind", "400@90"), exitUsage, `for "--wind" flag: speed in knots: 400 must be from 0 to 150`},
		{"wind NaN", assess("--wind", "NaN@90"), exitUsage, `for "--wind" flag: speed in knots: "NaN" is no number`},
		{"wind from beyond the compass", assess("--wind", "20@361"), exitUsage, `for "--wind" flag: direction in degrees true: 361 must be from 0 to 360`},
		{"wind from underground", assess("--wind", "20@90", "--wind-height", "0"), exitUsage, `for "--wind-height" flag: 0 must be from 1 to 150`},
		{"gusts of no wind", assess("--gusts"), exitUsage, "assess: --wind-height and --gusts need --wind"},
		{"gusts and loads", assess("--wind", "20@90", "--gusts", "--loads", good), exitUsage, "assess: --gusts: measured loads carry the wind that blew"},
		{"gusts twice", assess("--wind", "20@90", "--gusts", "--work", "tanker"), exitUsage, "assess: --gusts: --work reckons with the gusts"},
		{"current of a torrent", assess("--current", "30@10"), exitUsage, `for "--current" flag: speed in knots: 30 must be from 0 to 15`},
		{"level in the sky", assess("--level", "100"), exitUsage, `for "--level" flag: 100 must be from -30 to 30`},
		{"level of words", assess("--level", "high"), exitUsage, `for "--level" flag: "high" is no number`},
		{"depth of nothing", assess("--depth", "0"), exitUsage, `for "--depth" flag: 0 must be from 1 to 200`},
		{"one draft", assess("--draft", "8.2"), exitUsage, `for "--draft" flag: expected draft forward and aft in metres such as 8.2,9.0`},
		{"draft of words", assess("--draft", "8.2,deep"), exitUsage, `for "--draft" flag: aft: "deep" is no number`},
		{"without a line that is not there", assess("--without", "3,99"), exitUsage, `assess: --without: the plan has no line "99"`},
		{"without a line twice", assess("--without", "3,3"), exitUsage, `assess: --without: line "3" is named twice`},
		{"hours of words", assess("--hours", "all"), exitUsage, `for "--hours" flag: "all" is no number`},
		{"hours without end", assess("--hours", "+Inf"), exitUsage, `for "--hours" flag: +Inf must be from 0.1 to 240`},
		{"tide without hours", assess("--tide", tide), exitUsage, "assess: --tide, --cargo and --from need --hours"},
		{"hours beyond the tide", assess("--hours", "24", "--tide", tide), exitUsage, "assess: --hours: the tide table does not reach 2026-03-01T06:05:00Z"},
		{"from that is no time", assess("--hours", "2", "--from", "noon"), exitUsage, `assess: invalid argument "noon" for "--from" flag: expected RFC 3339`},
		{"work of no known kind", assess("--work", "fishing"), exitUsage, `assess: --work: "fishing" is none of tanker, gas-tanker,`},
		{"at without recording", assess("--at", "2026-03-01T04:00:00Z"), exitUsage, "assess: --at: needs a recording after the flags"},
		{"recording without at", assess(good), exitUsage, "assess: a recording needs --at TIME"},
		{"at that is no time", assess("--at", "noon", good), exitUsage, `assess: invalid argument "noon" for "--at" flag: expected RFC 3339`},
		{"at where the recording has nothing", assess("--at", "2026-03-01T05:00:00Z", good), exitUsage, "good.csv has no tension of the plan's lines in the minute before 2026-03-01T05:00:00Z; its readings end at 2026-03-01T04:00:00Z"},
		{"at before the recording", assess("--at", "2025-03-01T05:00:00Z", good), exitUsage, "in the minute before 2025-03-01T05:00:00Z; its readings begin at 2026-03-01T04:00:00Z"},
		{"loads from two places", assess("--at", "2026-03-01T04:00:00Z", "--loads", good, good), exitUsage, "assess: --loads: loads come from a file or from a recording, not from both"},
		{"at of a recording with a fault", assess("--at", "2026-03-01T04:00:00Z", badRow), exitBadInput, "bad-row.csv:3: "},
		{"loads not there", assess("--loads", dir+"/none.csv"), exitFailed, "none.csv: no such file"},
		{"loads without header", assess("--loads", file("l1.csv", "1,100\n2,100\n")), exitBadInput, "l1.csv:1: expected the header line,tension_kN"},
		{"loads of nothing", assess("--loads", file("l2.csv", "line,tension_kN\n")), exitBadInput, "l2.csv:2: expected the header line,tension_kN and a row below it"},
		{"loads of an unknown line", assess("--loads", file("l3.csv", "line,tension_kN\n1,100\n\n99,100\n")), exitBadInput, `l3.csv:4: the plan has no line "99"`},
		{"loads of a line twice", assess("--loads", file("l4.csv", "line,tension_kN\n1,100\n1,90\n")), exitBadInput, `l4.csv:3: line "1" a second time`},
		{"load of words", assess("--loads", file("l5.csv", "line,tension_kN\n1,tight\n")), exitBadInput, `l5.csv:2: tension_kN: "tight" is no number`},
		{"load below nothing", assess("--loads", file("l6.csv", "line,tension_kN\n1,-5\n")), exitBadInput, "l6.csv:2: tension_kN: -5 must be from 0 to 20000"},
		{"load with a field too many", assess("--loads", file("l7.csv", "line,tension_kN\n1,100,kN\n")), exitBadInput, "l7.csv:2: 3 fields, expected line,tension_kN"},
		{"load with a quote left open", assess("--loads", file("l8.csv", "line,tension_kN\n\"1,100\n")), exitBadInput, "l8.csv:2: "},
		{"tide out of order", assess("--hours", "1", "--tide", file("t1.csv", "time,level_m\n2026-03-01T06:00:00Z,1\n2026-03-01T05:00:00Z,2\n")), exitBadInput, "t1.csv:3: time: 2026-03-01T05:00:00Z is not after the row above"},
		{"tide of one row", assess("--hours", "1", "--tide", file("t2.csv", "time,level_m\n2026-03-01T06:00:00Z,1\n")), exitBadInput, "t2.csv:2: expected a second row"},
		{"cargo with a draft missing", assess("--hours", "1", "--cargo", file("c.csv", "time,draft_fwd_m,draft_aft_m\n2026-03-01T06:00:00Z,8\n")), exitBadInput, "c.csv:2: 2 fields, expected time,draft_fwd_m,draft_aft_m"},
		{"plots in a folder that is a file", assess("--plots", good), exitFailed, "good.csv"},
		{"data folder that is a file", []string{"serve", "--data", good}, exitFailed, "good.csv"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, out, errs := hawserCode(t, c.args...)
			if code != c.code {
				t.Errorf("exit code %d, want %d", code, c.code)
			}
			if !strings.Contains(errs, c.want) {
				t.Errorf("says %q, want %q in it", errs, c.want)
			}
			if n := strings.Count(errs, "hawser: "); n != 1 {
				t.Errorf("%d errors told, want one: %q", n, errs)
			}
			if out != "" {
				t.Errorf("a mistake, and still it prints %q", out)
			}
		})
	}
}

// What every command says of itself is there and gives an example.
func TestHelpHasExamples(t *testing.T) {
	root := newRoot(streams{})
	for _, cmd := range append(root.Commands(), root) {
		if cmd.Hidden {
			continue
		}
		out, _ := hawser(t, append(strings.Fields(cmd.CommandPath())[1:], "--help")...)
		for _, want := range []string{"Examples:\n  " + cmd.CommandPath(), "Usage:\n  " + cmd.CommandPath()} {
			if !strings.Contains(out, want) {
				t.Errorf("help of %q lacks %q", cmd.CommandPath(), want)
			}
		}
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if kind, _ := pflag.UnquoteUsage(f); kind == "string" || kind == "strings" || strings.HasSuffix(f.DefValue, "m0s") {
				t.Errorf("%s: --%s %s (default %s) does not say what it takes", cmd.CommandPath(), f.Name, kind, f.DefValue)
			}
		})
	}
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		if out, _ := hawser(t, "completion", shell); !strings.Contains(out, "hawser") {
			t.Errorf("no completion for %s", shell)
		}
	}
}

// A replay of what cannot be read leaves the changes of the one before.
func TestReplayKeepsWhatItCannotReplace(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "changes.jsonl")
	if err := os.WriteFile(out, []byte("before\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "none.csv"), planFile("tanker-12")} {
		if code, _, _ := hawserCode(t, "replay", "--plan", planFile("tanker-12"), "--out", out, path); code == exitOK {
			t.Errorf("%s was replayed", path)
		}
		if got := readFile(t, out); got != "before\n" {
			t.Errorf("%s: %q", path, got)
		}
	}
}

// replay twice gives the same bytes.
func TestReplayIsTheSameTwice(t *testing.T) {
	path := record(t, "tanker-12", 7, nil)
	first, _ := hawser(t, "replay", "--plan", planFile("tanker-12"), path)
	second, _ := hawser(t, "replay", "--plan", planFile("tanker-12"), path)
	if first == "" || first != second {
		t.Fatalf("two runs differ, or say nothing:\n%s\n%s", first, second)
	}
	for _, want := range []string{`"condition":"brake-slip","state":"raised","line":"3"`, `"condition":"line-parted","state":"raised","line":"4"`} {
		if !strings.Contains(first, want) {
			t.Errorf("nothing told of %s", want)
		}
	}
}
