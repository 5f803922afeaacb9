package access_test

import (
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/services/access"
)

// write writes an access file and what else a guard needs.
func write(tb testing.TB, text string) access.Options {
	tb.Helper()
	dir := tb.TempDir()
	ca := newAuthority(tb, "test authority")
	cert, key := ca.server("server")
	for name, data := range map[string][]byte{"access.yaml": []byte(text), "server.crt": cert, "server.key": key, "ca.crt": ca.PEM, "empty.crt": []byte("nothing\n")} {
		must(tb, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
	return access.Options{File: filepath.Join(dir, "access.yaml"), Cert: filepath.Join(dir, "server.crt"), Key: filepath.Join(dir, "server.key"),
		Stays: &harbour{}, Alarms: &harbour{}, Audit: io.Discard, Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()}
}

// open opens a guard on an access file.
func open(t *testing.T, text string, change func(*access.Options, string)) error {
	t.Helper()
	o := write(t, text)
	dir := filepath.Dir(o.File)
	if change != nil {
		change(&o, dir)
	}
	_, err := access.New(o)
	if err == nil {
		return nil
	}
	return &told{strings.ReplaceAll(err.Error(), dir+"/", "")}
}

type told struct{ text string }

func (t *told) Error() string { return t.text }

const (
	oneHash     = "sha256:0000000000000000000000000000000000000000000000000000000000000001"
	anotherHash = "sha256:0000000000000000000000000000000000000000000000000000000000000002"
	desk        = "people:\n  - name: desk\n    token: " + oneHash + "\n    grants: [{role: watch, site: true}]\n"
)

// Each mistake in an access file is told with its line and its path.
func TestMistakesInAccessFile(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"nothing":             {"", "access.yaml:1: is empty"},
		"only a remark":       {"# later\n", "access.yaml:1: is empty"},
		"no mapping":          {"- desk\n", "access.yaml:1: must be a mapping of devices, issuer, people"},
		"nobody":              {"{}\n", "access.yaml:1: lets nobody in"},
		"no YAML":             {"people:\n  - name: [desk\n", "access.yaml:2: is no YAML: did not find expected"},
		"two documents":       {desk + "---\n" + desk, "access.yaml:5: a second document begins here"},
		"unknown key":         {desk + "tokens: []\n", "access.yaml:5: tokens: no such key; there are devices, issuer, people"},
		"key twice":           {desk + desk, "access.yaml:5: people: stands on line 1 already"},
		"no list":             {"people: desk\n", "access.yaml:1: people: must be a list"},
		"empty list":          {"people: []\n", "access.yaml:1: people: must be a list"},
		"unknown key inside":  {desk + "    password: x\n", "access.yaml:5: people[0].password: no such key; there are expires, grants, name, token"},
		"no name":             {strings.Replace(desk, "name: desk\n    ", "", 1), "access.yaml:2: people[0].name: must be given"},
		"name of nothing":     {strings.Replace(desk, "name: desk", "name:", 1), "access.yaml:2: people[0].name: must be text"},
		"name too long":       {strings.Replace(desk, "name: desk", "name: "+strings.Repeat("x", 81), 1), "access.yaml:2: people[0].name: is 81 bytes long, at most 80"},
		"name twice":          {desk + strings.Replace(strings.TrimPrefix(desk, "people:\n"), oneHash, anotherHash, 1), `access.yaml:5: people[1].name: "desk" stands on line 2 already`},
		"token twice":         {desk + strings.Replace(strings.TrimPrefix(desk, "people:\n"), "desk", "two", 1), "access.yaml:6: people[1].token: is the same as on line 3"},
		"token itself":        {strings.Replace(desk, oneHash, access.NewToken(), 1), "access.yaml:3: people[0].token: must be sha256: and 64 hexadecimal digits, not the token itself"},
		"hash cut off":        {strings.Replace(desk, oneHash, oneHash[:40], 1), "access.yaml:3: people[0].token: must be sha256: and 64 hexadecimal digits"},
		"expires never":       {desk + "    expires: never\n", `access.yaml:5: people[0].expires: "never" is no RFC 3339 time`},
		"no grants":           {strings.Replace(desk, "\n    grants: [{role: watch, site: true}]", "", 1), "access.yaml:2: people[0].grants: must be given"},
		"unknown role":        {strings.Replace(desk, "role: watch", "role: captain", 1), `access.yaml:4: people[0].grants[0].role: "captain" is none of watch, acknowledge, operate, engineer, administer`},
		"role nobody":         {strings.Replace(desk, "role: watch", "role: nobody", 1), `"nobody" is none of`},
		"no role":             {strings.Replace(desk, "role: watch, ", "", 1), "access.yaml:4: people[0].grants[0].role: must be given"},
		"over nothing":        {strings.Replace(desk, ", site: true", "", 1), "access.yaml:4: people[0].grants[0]: must be over one thing"},
		"over two things":     {strings.Replace(desk, "site: true", "site: true, berth: east-3", 1), "access.yaml:4: people[0].grants[0]: must be over one thing"},
		"site false":          {strings.Replace(desk, "site: true", "site: false", 1), "access.yaml:4: people[0].grants[0].site: must be true, or left out"},
		"site yes":            {strings.Replace(desk, "site: true", `site: "true"`, 1), "access.yaml:4: people[0].grants[0].site: must be true, or left out"},
		"berth of no name":    {strings.Replace(desk, "site: true", "berth: East 3", 1), `access.yaml:4: people[0].grants[0].berth: "East 3" must match`},
		"ship of no name":     {strings.Replace(desk, "site: true", `ship: ""`, 1), "access.yaml:4: people[0].grants[0].ship: must be text"},
		"alias":               {strings.Replace(desk, "people:", "people: &all", 1) + "issuer: *all\n", "access.yaml:5: issuer: must be a mapping"},
		"issuer in clear":     {"issuer: {url: http://login.example, audience: a, grants: [{group: g, role: watch, site: true}]}\n", `access.yaml:1: issuer.url: "http://login.example" must be https://`},
		"issuer of no URL":    {"issuer: {url: login, audience: a, grants: [{group: g, role: watch, site: true}]}\n", `access.yaml:1: issuer.url: "login" must be https://HOST`},
		"issuer, no audience": {"issuer: {url: 'https://login.example', grants: [{group: g, role: watch, site: true}]}\n", "access.yaml:1: issuer.audience: must be given"},
		"issuer, no group":    {"issuer: {url: 'https://login.example', audience: a, grants: [{role: watch, site: true}]}\n", "access.yaml:1: issuer.grants[0].group: must be given"},
		"no authority":        {"devices: {}\n", "access.yaml:1: devices.ca: must be given"},
		"authority not there": {"devices:\n  ca: none.crt\n", "access.yaml:2: devices.ca: open none.crt: no such file"},
		"authority of words":  {"devices:\n  ca: empty.crt\n", "access.yaml:2: devices.ca: empty.crt: no certificates in PEM"},
		"odd fingerprint":     {"devices:\n  ca: ca.crt\n  revoked: [7]\n", "access.yaml:3: devices.revoked[0]: must be sha256:"},
		"too large":           {"#" + strings.Repeat("x", 1<<20), "access.yaml: over 1 MiB"},
	} {
		if err := open(t, c.text, nil); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
	// The first few faults are told at once, in the file's order.
	err := open(t, "people:\n"+strings.Repeat("  - {}\n", 3), nil)
	if err == nil || strings.Count(err.Error(), "must be given") != 5 || !strings.HasSuffix(err.Error(), "access.yaml: and 4 more") {
		t.Errorf("nine faults: %v", err)
	}
	if err := open(t, desk+"devices: {ca: ca.crt}\n", nil); err != nil {
		t.Errorf("a file with no mistake: %v", err)
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*access.Options, string)
		want   string
	}{
		"no file":             {func(o *access.Options, _ string) { o.File = "" }, "File, Cert and Key are required"},
		"no log":              {func(o *access.Options, _ string) { o.Log = nil }, "Audit, Log and Registerer are required"},
		"negative":            {func(o *access.Options, _ string) { o.Limits.Burst = -1 }, "negative limits"},
		"never looks":         {func(o *access.Options, _ string) { o.Every = -1 }, "look every"},
		"file not there":      {func(o *access.Options, dir string) { o.File = dir + "/none.yaml" }, "open none.yaml: no such file"},
		"key of another":      {func(o *access.Options, dir string) { o.Key = o.Cert }, "server.crt and server.crt: "},
		"certificate of none": {func(o *access.Options, dir string) { o.Cert = dir + "/empty.crt" }, "empty.crt and server.key: "},
	} {
		if err := open(t, desk, c.change); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
}
