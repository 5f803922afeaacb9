package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What cannot be meant in a recording is told, whoever reads it: a channel that there
// is none of, and times in seconds, which as milliseconds are of January 1970.
func TestWhatCannotBeMeantInARecordingIsTold(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "logger.csv")
	if err := os.WriteFile(path, []byte("time,channel,value\n1772337600,1/tension,100\n1772337601,1/tensoin,100\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	const want = "hawser: 1 rows of unknown channels: [1/tensoin]\n" +
		"hawser: the recording begins in 1970: times that are whole numbers are Unix milliseconds, not seconds\n"
	if _, errs := hawser(t, "replay", "--plan", planFile("tanker-12"), path); !strings.HasSuffix(errs, want) {
		t.Errorf("replay says %q, want %q", errs, want)
	}
	s := startServe(t, t.TempDir())
	if _, errs := hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, path); errs != want {
		t.Errorf("send says %q, want %q", errs, want)
	}
}
