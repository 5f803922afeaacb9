package evidence

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// A trace orders what comes out of order, leaves out what is late, and means are
// of the good readings from the one time up to and without the other.
func TestTrace(t *testing.T) {
	var l traces
	l.take(&reading.Series{Channel: reading.Channel{Line: "1", Kind: reading.Tension},
		Time: []int64{10, 30, 20, 40, 5}, Value: []float64{1, 3, 2, math.NaN(), 77},
		Quality: []reading.Quality{reading.Good, reading.Good, reading.Good, reading.Bad, reading.Late}})
	if times, _ := l.tension.between(0, 100); !slices.Equal(times, []int64{10, 20, 30, 40}) {
		t.Errorf("times %v", times)
	}
	if m := l.tension.mean(10, 30); m != 1.5 {
		t.Errorf("mean of 1 and 2 is %v", m)
	}
	if m := l.tension.mean(20, 100); m != 2.5 {
		t.Errorf("mean of 2 and 3 and a bad one is %v", m)
	}
	if m := l.tension.mean(40, 100); !math.IsNaN(m) {
		t.Errorf("mean of no good reading is %v", m)
	}
}

// A day of a 20 Hz channel leaves no more than is kept, twice over.
func TestTraceIsBounded(t *testing.T) {
	var tr trace
	most := 0
	for n := range int64(24 * 3600 * 20) {
		tr.add(n*second/20, 1)
		if n%20 == 0 {
			tr.forget(n*second/20 - secondKept)
		}
		most = max(most, len(tr.times))
	}
	if most > 2*traceMost {
		t.Errorf("%d readings kept", most)
	}
	if times, _ := tr.between(24*3600*second-secondKept, 24*3600*second); len(times) != 1800*20 {
		t.Errorf("%d readings of the last half hour, want 36000", len(times))
	}
}

func TestFolderErrorsNameThePlace(t *testing.T) {
	plan := &mooring.Plan{Berth: "b", Lines: []mooring.Line{{ID: "1", Group: mooring.Head, MBLkN: 640}}}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{file, filepath.Join(file, "below"), filepath.Dir(file)} {
		if _, err := New(plan, dir); err == nil || !strings.Contains(err.Error(), file) && !strings.Contains(err.Error(), dir+" holds file already") {
			t.Errorf("in %s: error %v does not name the place", dir, err)
		}
	}
	gone := filepath.Join(t.TempDir(), "gone")
	r, err := New(plan, gone)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	const at = 1_772_323_200 * second
	raised := []detect.Change{{Time: at, Condition: detect.OverLimit, By: detect.SecondMean, Raised: true, Line: "1", Group: mooring.Head}}
	if err := r.Take(&reading.Block{}, raised); err != nil {
		t.Fatal(err)
	}
	b := detect.New(plan)
	b.Observe(r.Look)
	b.Push("a", &reading.Series{Channel: reading.Channel{Kind: reading.WindSpeed}, Time: []int64{at}, Value: []float64{5}})
	b.Advance("a", at+5*second, nil)
	err = r.Close()
	if want := filepath.Join(gone, "0001-over-limit-1.json"); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error %v does not name %s", err, want)
	}
}
