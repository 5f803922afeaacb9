package planfile_test

import (
	"errors"
	"os"
	"strings"
	"testing"

	"hawser/ingest/planfile"
)

// A fault's line and column are where an editor puts its cursor: the first
// character of the value that is wrong, counted from 1.
func TestFaultsHaveTheirPlace(t *testing.T) {
	data, err := os.ReadFile("testdata/plain.yaml")
	must(t, err)
	const right, wrong = "loa_m: ", "loa_m: -"
	text := strings.Replace(string(data), right, wrong, 1)
	before, _, _ := strings.Cut(text, wrong)
	line := strings.Count(before, "\n") + 1
	col := len(before) - strings.LastIndex(before, "\n") - 1 + len(right) + 1
	_, _, err = planfile.Parse("", []byte(text))
	faults := planfile.Each(err)
	if len(faults) != 1 || faults[0].Line != line || faults[0].Col != col || faults[0].Path != "ship.loa_m" {
		t.Errorf("%+v, want line %d, column %d of ship.loa_m", faults, line, col)
	}
	if got := planfile.Each(errors.New("disk on fire")); got != nil {
		t.Errorf("faults of another error: %v", got)
	}
}
