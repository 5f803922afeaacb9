package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access/keyring"
	"hawser/services/waittest"
)

// answers are what a server says of alarms, history, stays and lines of a berth.
type answers struct {
	alarms, history, stays string
	lines                  *hawserv1.ListLinesResponse
}

func (s *server) answers(berth string) (a answers, err error) {
	conn := s.dial()
	list, err := hawserv1.NewAlarmServiceClient(conn).ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{Berth: berth, IncludeCleared: true})
	if err != nil {
		return a, err
	}
	text, err := json.Marshal(list.Alarms)
	if err != nil {
		return a, err
	}
	a.alarms = string(text)
	for _, step := range []string{"", "&step=10s"} {
		body, err := s.get("/api/history?berth=" + berth + "&channel=1/tension&from=2026-03-01T00:00:00Z&to=2026-03-02T00:00:00Z" + step)
		if err != nil {
			return a, err
		}
		a.history += body
	}
	if a.stays, err = s.get("/api/stays?berth=" + berth); err != nil {
		return a, err
	}
	a.lines, err = hawserv1.NewLineServiceClient(conn).ListLines(s.t.Context(), &hawserv1.ListLinesRequest{Berth: berth, IncludeCells: true})
	if a.lines != nil {
		a.lines.Position = 0 // other berths go on
	}
	return a, err
}

// same waits until a server answers as another did.
func (s *server) same(t *testing.T, berth string, want answers) {
	t.Helper()
	waittest.Until(t, "the same answers", func() error {
		got, err := s.answers(berth)
		switch {
		case err != nil:
			return err
		case got.alarms != want.alarms:
			return fmt.Errorf("alarms %s\nwant %s", got.alarms, want.alarms)
		case got.history != want.history:
			return fmt.Errorf("history of %d bytes, want %d", len(got.history), len(want.history))
		case got.stays != want.stays:
			return fmt.Errorf("stays %s\nwant %s", got.stays, want.stays)
		case !proto.Equal(got.lines, want.lines):
			return fmt.Errorf("lines %v\nwant %v", got.lines, want.lines)
		}
		return nil
	})
}

// A server is backed up while readings come in at another berth, and after its stop;
// both restored into empty folders answer as it did, and take readings on from there.
func TestRestoredServerAnswersAsBefore(t *testing.T) {
	t.Parallel()
	tape := newTape(t, "tanker-12", 11, nil)
	_, all := pins(t, tape.path)
	dir := t.TempDir()
	start := func(data string) *server { return startServe(t, data, "--silent-after", "1h") } // nobody sends while answers are compared
	s := start(filepath.Join(dir, "data"))
	tape.send(t, s.grpc)
	s.linesDone(all, tape.told)
	s.hasAll(tape)
	var want answers
	waittest.Until(t, "stays", func() (err error) {
		if want, err = s.answers(tape.berth); err == nil && !strings.Contains(want.stays, northShip) {
			err = errors.New(want.stays)
		}
		return err
	})
	if len(want.history) < 10_000 || !strings.Contains(want.alarms, "brake-slip") || len(want.lines.Lines) != 12 {
		t.Fatalf("too little to compare: %d bytes of history, alarms %s", len(want.history), want.alarms)
	}

	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	other := newTape(t, "coaster-8", 3, nil)
	sending := make(chan int, 1)
	go func() {
		sending <- run(ctx, []string{"send", "--plan", planFile("coaster-8"), "--to", s.grpc, "--pace", "10", other.path}, streams{out: io.Discard, err: io.Discard})
	}()
	s.watched(other.berth, 5)
	// A backup that was killed leaves this behind.
	if err := os.MkdirAll(filepath.Join(s.data, "store-copy", "01K"), 0o755); err != nil {
		t.Fatal(err)
	}
	running, stopped := filepath.Join(dir, "running.zip"), filepath.Join(dir, "stopped.zip")
	out, _ := hawser(t, "backup", "--server", "http://"+s.http, "--out", running)
	if !strings.Contains(out, running+": checked") {
		t.Errorf("backup says %q", out)
	}
	var stderr bytes.Buffer
	if code := run(t.Context(), []string{"backup", "--data", s.data, "--out", stopped}, streams{out: io.Discard, err: &stderr}); code != exitFailed || !strings.Contains(stderr.String(), "--server") {
		t.Errorf("backup of a folder in use: %d %s", code, stderr.String())
	}
	stop()
	<-sending
	if _, err := s.stop(); err != nil {
		t.Fatal(err)
	}
	if names, _ := filepath.Glob(filepath.Join(s.data, "store-copy*")); len(names) > 0 {
		t.Errorf("left behind: %q", names)
	}
	hawser(t, "backup", "--data", s.data, "--out", stopped)

	for name, file := range map[string]string{"running": running, "stopped": stopped} {
		data := filepath.Join(dir, "restored-"+name)
		if out, _ := hawser(t, "restore", "--data", data, file); !strings.Contains(out, data+": restored") {
			t.Errorf("restore says %q", out)
		}
		r := start(data)
		r.same(t, tape.berth, want)
		// The other berth's readings are there as far as the backup goes, and go on.
		other.send(t, r.grpc)
		r.stored(other.berth, other.sums)
		if _, err := r.stop(); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"a folder with something in it": {[]string{"restore", "--data", s.data, running}, exitUsage, "is not empty"},
		"a file that is there already":  {[]string{"backup", "--data", s.data, "--out", running}, exitUsage, "is there already"},
		"no data folder":                {[]string{"backup", "--data", filepath.Join(dir, "none"), "--out", filepath.Join(dir, "none.zip")}, exitFailed, "is no data folder"},
		"a cut file":                    {[]string{"restore", "--data", filepath.Join(dir, "a"), cutFile(t, running)}, exitBadInput, "not a backup, or cut off"},
		"a spoilt file":                 {[]string{"restore", "--data", filepath.Join(dir, "a"), spoiltFile(t, running)}, exitBadInput, "part journal/telemetry: damaged"},
	} {
		var stderr bytes.Buffer
		if code := run(t.Context(), c.args, streams{out: io.Discard, err: &stderr}); code != c.code || !strings.Contains(stderr.String(), c.says) {
			t.Errorf("%s: %d %s", name, code, stderr.String())
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "a")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that was refused left a folder: %v", err)
	}
}

// A server with its journal in a NATS server outside is backed up alike; what is made
// of it has its journal inside. History that is elsewhere is said not to be in it.
func TestBackupWithTheJournalOutside(t *testing.T) {
	t.Parallel()
	tape := newTape(t, "coaster-8", 4, nil)
	_, all := pins(t, tape.path)
	dir := t.TempDir()
	s := startServe(t, filepath.Join(dir, "data"), "--journal", startNATS(t), "--store", "none")
	tape.send(t, s.grpc)
	want := s.linesDone(all, tape.told)
	file, data := filepath.Join(dir, "outside.zip"), filepath.Join(dir, "inside")
	out, _ := hawser(t, "backup", "--server", "http://"+s.http, "--out", file)
	if !strings.Contains(out, "history is not in it: the store is none") {
		t.Errorf("backup says %q", out)
	}
	hawser(t, "restore", "--data", data, file)
	r := startServe(t, data)
	if got := r.linesDone(all, tape.told); !proto.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
	compareTold(t, r.onRecord(), tape.told)
}

func cutFile(t *testing.T, path string) string {
	return changedFile(t, path, func(b []byte) []byte { return b[:len(b)*9/10] })
}

func spoiltFile(t *testing.T, path string) string {
	return changedFile(t, path, func(b []byte) []byte {
		b[bytes.Index(b, []byte("journal/telemetry"))+2000] ^= 0x10
		return b
	})
}

func changedFile(t *testing.T, path string, change func([]byte) []byte) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "changed.zip")
	if err := os.WriteFile(out, change(data), 0o600); err != nil {
		t.Fatal(err)
	}
	return out
}

// A data folder of a later version is refused with one clear error.
func TestLaterDataFolderIsRefused(t *testing.T) {
	data := t.TempDir()
	if err := os.WriteFile(filepath.Join(data, "version"), []byte("hawser-data 9\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	var stderr bytes.Buffer
	code := run(t.Context(), []string{"serve", "--data", data, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, streams{out: io.Discard, err: &stderr})
	if code != exitFailed || strings.Count(stderr.String(), "\n") != 1 || !strings.Contains(stderr.String(), "is of form 9, written by a later version") {
		t.Errorf("%d %s", code, stderr.String())
	}
}

// A data folder from before there were forms is taken to the present one.
func TestOlderDataFolder(t *testing.T) {
	t.Parallel()
	tape := newTape(t, "coaster-8", 5, nil)
	_, all := pins(t, tape.path)
	s := startServe(t, t.TempDir())
	tape.send(t, s.grpc)
	want := s.linesDone(all, tape.told)
	if _, err := s.stop(); err != nil {
		t.Fatal(err)
	}
	version := filepath.Join(s.data, "version")
	if err := os.Remove(version); err != nil {
		t.Fatal(err)
	}
	s = startServe(t, s.data)
	if got := s.linesDone(all, tape.told); !proto.Equal(got, want) || got.Lines[0].Rope != "CR-101" {
		t.Errorf("%v\nwant %v", got, want)
	}
	if data, err := os.ReadFile(version); err != nil || string(data) != "hawser-data 1\n" {
		t.Errorf("version %q, %v", data, err)
	}
}

// With access control a backup takes who administers the site.
func TestBackupOverTLS(t *testing.T) {
	s := startSecured(t, nil)
	dir := t.TempDir()
	backup := func(role string) (int, string) {
		token := filepath.Join(dir, role+".token")
		if err := os.WriteFile(token, []byte(s.tokens[role]), 0o600); err != nil {
			t.Fatal(err)
		}
		var stderr bytes.Buffer
		code := run(t.Context(), []string{"backup", "--server", strings.TrimSuffix(s.url("/"), "/"), "--ca", filepath.Join(s.dir, keyring.CAFile), "--token-file", token,
			"--out", filepath.Join(dir, role+".zip")}, streams{out: io.Discard, err: &stderr})
		return code, stderr.String()
	}
	if code, says := backup("engineer"); code != exitFailed || !strings.Contains(says, "403") {
		t.Errorf("engineer: %d %s", code, says)
	}
	if code, says := backup("administer"); code != exitOK {
		t.Errorf("administer: %d %s", code, says)
	}
}
