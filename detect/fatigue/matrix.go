package fatigue

import (
	"cmp"
	"math"
	"slices"
)

// The bins of a Matrix, in shares of the breaking load.
const (
	RangeBin = 0.01
	MeanBin  = 0.1

	rangeBins = 151 // the last is of ranges of 1.5 and more
	meanBins  = 12  // the last is of means of 1.1 and more
)

// Cell is what fell in one bin. Its sums give the mean of what is in it, at which
// damage is reckoned: that is nearer than the middle of the bin, and any curve can
// be tried on it later.
type Cell struct {
	Row    uint16  `json:"r"`           // range from Row*RangeBin on
	Column uint16  `json:"m"`           // mean from Column*MeanBin on
	Halves uint64  `json:"n"`           // half cycles
	Range  float64 `json:"s"`           // sum of the ranges of the half cycles
	Mean   float64 `json:"t,omitempty"` // sum of their means
}

// Matrix is cycles by range and mean, at most 1,812 cells. The zero value is ready
// and is a Sink.
type Matrix struct {
	// Cells are those with something in them, by row and column.
	Cells []Cell `json:"cells"`
}

// Cycle counts a cycle.
func (m *Matrix) Cycle(from, to float64, halves uint64) {
	size, mean := math.Abs(to-from), (from+to)/2
	c := Cell{Row: bin(size, RangeBin, rangeBins), Column: bin(mean, MeanBin, meanBins)}
	i, found := slices.BinarySearchFunc(m.Cells, c, func(a, b Cell) int {
		return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Column, b.Column))
	})
	if !found {
		m.Cells = slices.Insert(m.Cells, i, c)
	}
	at := &m.Cells[i]
	at.Halves += halves
	at.Range += float64(halves) * size
	at.Mean += float64(halves) * mean
}

// bin puts what is on a bin's edge, but for its last digits, in that bin.
func bin(v, width float64, bins int) uint16 {
	return uint16(min(max(math.Floor(v/width+1e-9), 0), float64(bins-1)))
}

// Clone is a matrix of its own.
func (m *Matrix) Clone() *Matrix { return &Matrix{Cells: slices.Clone(m.Cells)} }

// Cycles is how many cycles have a range of at least this share, by bins.
func (m *Matrix) Cycles(least float64) float64 {
	var halves uint64
	for _, c := range m.Cells {
		if float64(c.Row)*RangeBin >= least-1e-9 {
			halves += c.Halves
		}
	}
	return float64(halves) / 2
}

// Damage is the Miner sum of what was counted: of n/N over all cells, N by the
// curve at each cell's mean range and mean load. Against the sum over the cycles
// one by one it is off by under a hundredth for ranges of a tenth of the breaking
// load and more, and by a few hundredths where all are smaller.
func (m *Matrix) Damage(by *Curve) float64 {
	sum := 0.0
	for _, c := range m.Cells {
		n := float64(c.Halves)
		sum += by.Damage(c.Range/n, c.Mean/n, n/2)
	}
	return sum
}
