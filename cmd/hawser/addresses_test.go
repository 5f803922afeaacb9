package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// Pages and gRPC have an address each. Whoever takes one for the other is told.
func TestTheOtherAddressIsTold(t *testing.T) {
	t.Parallel()
	s := startServe(t, t.TempDir())
	path := record(t, "tanker-12", 7, nil)
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"pages":   {[]string{"backup", "--server", "http://" + s.grpc, "--out", filepath.Join(t.TempDir(), "a.zip")}, "hawser: backup: " + s.grpc + " does not speak HTTP: gRPC has another address than the pages\n"},
		"gRPC":    {[]string{"send", "--give-up-after", "1s", "--plan", planFile("tanker-12"), "--to", s.http, path}, s.http + ": HTTP/1.1 is spoken there: pages have another address than gRPC"},
		"nothing": {[]string{"lines", "--server", "http://127.0.0.1:1"}, "hawser: lines: 127.0.0.1:1: dial tcp 127.0.0.1:1: connect: connection refused\n"},
	} {
		if code, _, errs := hawserCode(t, c.args...); code != exitFailed || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit code %d, %q, want %q", name, code, errs, c.says)
		}
	}
}
