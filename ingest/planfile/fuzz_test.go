package planfile_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/tide"
	"hawser/ingest/planfile"
)

// FuzzParse: text is either refused with the places of its faults, or a plan
// that can be written and read back to the same message, and whose tide has a
// level at its times.
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
		p, m, err := planfile.Parse("plan.yaml", data)
		if err == nil {
			roundTrip(t, m)
			tideHasLevels(t, p.Tide)
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

func tideHasLevels(t *testing.T, of *mooring.Tide) {
	if of == nil {
		return
	}
	c, err := tide.New(of)
	must(t, err)
	for _, l := range append(of.Table, mooring.TideLevel{At: time.Unix(0, 0)}) {
		level, ok := c.At(l.At)
		if inside := len(of.Table) == 0 || l.At.Unix() != 0; inside && (!ok || math.IsNaN(level) || math.IsInf(level, 0)) {
			t.Fatalf("a level of %g m at %s, %t", level, l.At, ok)
		}
	}
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
