package main

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/planfile"
)

// Whatever a table holds, it is read as it says or refused with the place: loads in
// range and some of them, times that rise.
func FuzzTables(f *testing.F) {
	for _, seed := range []string{
		"line,tension_kN\n1,100\n# by hand\n12,90.5\n",
		"line,tension_kN\r\n\"1\", 100\r\n",
		"\ufeffline,tension_kN\n2,1e2\n",
		"line,tension_kN\n1,NaN\n", "line,tension_kN\n99,1\n", "line,tension_kN\n1,2,3\n", "line,tension_kN\n\"1,2\n",
		"time,level_m\n2026-03-01T00:00:00Z,1.2\n2026-03-01T06:00:00+01:00,-4\n",
		"time,level_m\n2026-03-01T06:00:00Z,1\n2026-03-01T06:00:00Z,1\n",
	} {
		f.Add([]byte(seed))
	}
	path := filepath.Join(f.TempDir(), "table.csv")
	plan, _, err := planfile.Load(planFile("tanker-12"))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		located := func(err error) {
			var bad *tableError
			if !errors.As(err, &bad) || bad.line < 1 || bad.line > strings.Count(string(data), "\n")+strings.Count(string(data), "\r")+2 || !strings.HasPrefix(err.Error(), path+":") {
				t.Fatalf("no place in %v", err)
			}
		}
		if loads, err := readLoads(path, plan); err != nil {
			located(err)
		} else {
			known := 0
			for _, kN := range loads {
				if !math.IsNaN(kN) {
					known++
					if kN < 0 || kN > 20_000 {
						t.Fatalf("%g kN", kN)
					}
				}
			}
			if len(loads) != len(plan.Lines) || known == 0 {
				t.Fatalf("%d of %d loads known", known, len(loads))
			}
		}
		rows, err := readSeries(path, "time,level_m", -30, 30)
		if err != nil {
			located(err)
			return
		}
		for i, r := range rows {
			if len(r.values) != 1 || !(r.values[0] >= -30 && r.values[0] <= 30) || i > 0 && !r.at.After(rows[i-1].at) {
				t.Fatalf("row %d: %+v", i, r)
			}
		}
		if len(rows) == 0 {
			t.Fatal("a table without rows was read")
		}
	})
}
