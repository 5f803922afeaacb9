package planfile_test

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/planfile"
)

var update = flag.Bool("update", false, "write the error texts anew")

// TestBadPlans holds the whole error text of plans with a mistake each; all
// are testdata/plain.yaml but for the mistake that the name tells.
func TestBadPlans(t *testing.T) {
	if _, _, err := planfile.Load("testdata/plain.yaml"); err != nil {
		t.Fatalf("without a mistake: %v", err)
	}
	names, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(names) < 30 {
		t.Fatalf("found %d bad plans: %v", len(names), err)
	}
	for _, name := range names {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".yaml"), func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(name)
			must(t, err)
			plan, message, err := planfile.Parse("plan.yaml", data)
			if err == nil {
				t.Fatal("was taken for a good plan")
			}
			if plan != nil || message != nil {
				t.Error("a refused plan was handed out")
			}
			var first *planfile.Error
			if !errors.As(err, &first) || first.File != "plan.yaml" || first.Line < 1 || first.Want == "" {
				t.Errorf("no place in %#v", first)
			}
			golden := strings.TrimSuffix(name, ".yaml") + ".err"
			if *update {
				must(t, os.WriteFile(golden, []byte(err.Error()+"\n"), 0o644))
			}
			want, rerr := os.ReadFile(golden)
			if rerr != nil {
				t.Fatal(rerr)
			}
			if got := err.Error() + "\n"; got != string(want) {
				t.Errorf("got\n%swant\n%s", got, want)
			}
		})
	}
}
