// Package recorded writes what a simulated ship's sensors send into recordings,
// for the tests of the commands that take one.
package recorded

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/recording"
	"hawser/ingest/simulate"
)

// Demo is the beginning of the demo's story: a brake slips and then a line parts,
// where the plan allows and the length does.
func Demo(plan *mooring.Plan, length time.Duration) simulate.Story {
	story := simulate.DemoStory(plan)
	story.Start = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	story.Length, story.Ends = length, true
	var kept []simulate.Event
	for _, e := range story.Events {
		if e.At < length {
			kept = append(kept, e)
		}
	}
	story.Events = kept
	return story
}

// Write writes a story that ends into a recording and returns its path.
func Write(t testing.TB, plan *mooring.Plan, story simulate.Story) (path string) {
	t.Helper()
	ship, err := simulate.New(plan, story)
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "recording.csv")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := recording.NewWriter(f, recording.WriterOptions{})
	for b := ship.Next(); b != nil; b = ship.Next() {
		if err := w.Write(b); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}
