package planfile_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/planfile"
)

// FuzzParse: text is either refused with the places of its faults, or a plan
// that can be written and read back to the same message.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/*.yaml", "testdata/bad/*.yaml", sharedPlans + "/*.yaml"} {
		names, err := filepath.Glob(pattern)
		if err != nil || len(names) == 0 {
			f.Fatalf("no seeds in %s: %v", pattern, err)
		}
		for _, name := range names {
			data, err := os.ReadFile(name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		_, m, err := planfile.Parse("plan.yaml", data)
		if err == nil {
			roundTrip(t, m)
			return
		}
		var e *planfile.Error
		if !errors.As(err, &e) || e.File != "plan.yaml" || e.Want == "" {
			t.Fatalf("an error without a fault: %#v", err)
		}
		lines := 1
		for _, r := range string(data) {
			if strings.ContainsRune("\n\r\u0085\u2028\u2029", r) { // YAML 1.1 breaks lines at all of these
				lines++
			}
		}
		if e.Line < 1 || e.Line > lines {
			t.Fatalf("a fault at line %d of %d: %v", e.Line, lines, err)
		}
	})
}

func BenchmarkLoad20Lines(b *testing.B) {
	name := filepath.Join(sharedPlans, "carrier-20.yaml")
	b.ReportAllocs()
	for b.Loop() {
		p, _, err := planfile.Load(name)
		if err != nil || len(p.Lines) != 20 {
			b.Fatal(err)
		}
	}
}
