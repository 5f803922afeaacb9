package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A second server on the same data folder, with whatever journal, and a backup of
// the folder are refused with one error that names folder and process; the first
// goes on, and can be backed up by asking it. When it is killed the folder is free.
func TestSecondServerIsRefused(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	first := startServe(t, data)
	refused := func(says string, args ...string) {
		t.Helper()
		code, _, stderr := hawserCode(t, args...)
		want := fmt.Sprintf("data folder %s is in use by process %d (", data, first.cmd.Process.Pid)
		if code != exitFailed || strings.Count(stderr, want) != 1 || !strings.Contains(stderr, says) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("hawser %s: exit code %d, want 1 and one line with %q and %q:\n%s", strings.Join(args, " "), code, want, says, stderr)
		}
	}
	serve := []string{"serve", "--data", data, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}
	refused("", serve...)
	refused("", slices.Concat(serve, []string{"--journal", "nats://127.0.0.1:1"})...)
	refused("--server", "backup", "--data", data, "--out", filepath.Join(t.TempDir(), "refused.zip"))
	hawser(t, "backup", "--server", "http://"+first.http, "--out", filepath.Join(t.TempDir(), "asked.zip"))
	if _, err := first.get("/readyz"); err != nil {
		t.Error(err)
	}
	first.kill()
	second := startServe(t, data)
	if _, err := second.stop(); err != nil {
		t.Errorf("second server: %v\n%s", err, second.stderr.String())
	}
	hawser(t, "backup", "--data", data, "--out", filepath.Join(t.TempDir(), "stopped.zip"))
}
