package study_test

import (
	"math"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/simulate"
)

const (
	trackHz = 10
	minute  = 60.0
)

// track is what really happened on board, ten times a second.
type track struct {
	loads  [][]float64 // kN, by line
	paid   [][]float64 // m
	worked [][]int     // the last step at which it was worked, far before the first for never
	sums   [][]float64 // running sums of loads, one longer
}

func newTrack(lines int) *track {
	return &track{loads: make([][]float64, lines), paid: make([][]float64, lines),
		worked: make([][]int, lines), sums: make([][]float64, lines)}
}

func (t *track) observe(s simulate.State) {
	if s.At%(time.Second/trackHz) != 0 {
		return
	}
	for i := range t.loads {
		t.loads[i] = append(t.loads[i], s.TensionKN(i))
		t.paid[i] = append(t.paid[i], s.PayoutM(i))
		last := -1 << 30
		if n := len(t.worked[i]); s.Worked(i) {
			last = n
		} else if n > 0 {
			last = t.worked[i][n-1]
		}
		t.worked[i] = append(t.worked[i], last)
	}
}

func (t *track) close() {
	for i, loads := range t.loads {
		t.sums[i] = make([]float64, len(loads)+1)
		for k, v := range loads {
			t.sums[i][k+1] = t.sums[i][k] + v
		}
	}
}

func (t *track) steps() int { return len(t.loads[0]) }

// mean is line i's mean load over the seconds before step k, NaN before there
// are so many.
func (t *track) mean(i, k int, seconds float64) float64 {
	n := int(seconds * trackHz)
	if k < n {
		return math.NaN()
	}
	return (t.sums[i][k] - t.sums[i][k-n]) / float64(n)
}

// swing is the standard deviation of line i's load in the minute up to step k.
func (t *track) swing(i, k int) float64 {
	sum, squares, n := 0.0, 0.0, 0.0
	for _, v := range t.loads[i][max(0, k-minute*trackHz) : k+1] {
		sum, squares, n = sum+v, squares+v*v, n+1
	}
	return math.Sqrt(max(0, squares/n-sum/n*sum/n))
}

// most is the greatest load by its line's breaking load as the ship has it.
func (t *track) most(ship *mooring.Plan) (most float64) {
	for i, loads := range t.loads {
		for _, v := range loads {
			most = max(most, v/ship.Lines[i].MBLkN)
		}
	}
	return most
}
