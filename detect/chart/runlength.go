package chart

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// The average run length L(s) from a state s is 1 for the next observation and,
// by where that leads, the run length from there: an integral equation, solved
// at the nodes of a Gauss-Legendre rule. The kernels are smooth, so that a few
// nodes to a standard deviation give ten digits.

// Nodes of the rule: so many, and so many more for each standard deviation.
const (
	nodesLeast = 24
	nodesEach  = 8
	nodesMost  = 600
)

// RunLength is the average number of observations until the chart tells, where
// they are shifted by so many standard deviations and the sum begins at head, 0
// to H. Source of the equation: Page (1954).
//
//	L(s) = 1 + L(0)·Φ(k−s) + ∫₀ᴴ L(y)·φ(y−s+k) dy,  k = K − shift
func (c Cusum) RunLength(shift, head float64) float64 {
	k := c.K - shift
	y, w := rule(0, c.H, c.H)
	n := len(y)
	// the unknowns are L at the nodes, and L(0)
	row := func(s float64, at func(j int, v float64)) {
		for j := range y {
			at(j, w[j]*density(y[j]-s+k))
		}
		at(n, below(k-s))
	}
	runs := solve(n+1, func(i int, at func(int, float64)) {
		s := 0.0
		if i < n {
			s = y[i]
		}
		row(s, at)
	})
	total := 1.0
	row(head, func(j int, v float64) { total += v * runs[j] })
	return total
}

// RunLength is the average number of observations until the average is over its
// settled limit, on either side, where they are shifted by so many standard
// deviations. Source of the equation: S. V. Crowder, Technometrics 29 (1987).
//
//	L(u) = 1 + 1/λ ∫ L(y)·φ((y−(1−λ)u)/λ − shift) dy,  y within the limits
func (e Ewma) RunLength(shift float64) float64 {
	limit := e.Settled()
	y, w := rule(-limit, limit, 2*limit/e.Lambda)
	row := func(u float64, at func(j int, v float64)) {
		for j := range y {
			at(j, w[j]/e.Lambda*density((y[j]-(1-e.Lambda)*u)/e.Lambda-shift))
		}
	}
	runs := solve(len(y), func(i int, at func(int, float64)) { row(y[i], at) })
	total := 1.0
	row(0, func(j int, v float64) { total += v * runs[j] })
	return total
}

// Either is the run length of two one-sided charts of the same design side by
// side, from that of each. Source: J. M. Lucas, R. B. Crosier, Technometrics 24
// (1982); with a head start each is given from it and from 0.
func Either(up, upFromZero, down, downFromZero float64) float64 {
	return (up*downFromZero + down*upFromZero - upFromZero*downFromZero) / (upFromZero + downFromZero)
}

// rule is the nodes and weights over lo to hi, which is so many standard
// deviations wide.
func rule(lo, hi, deviations float64) (y, w []float64) {
	n := min(nodesLeast+int(nodesEach*deviations), nodesMost)
	y, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(y, w, lo, hi)
	return y, w
}

// solve is x of x = 1 + Kx, K's rows given one by one; infinite where no run
// would end.
func solve(n int, row func(i int, at func(j int, v float64))) []float64 {
	a := mat.NewDense(n, n, nil)
	ones := mat.NewVecDense(n, nil)
	for i := range n {
		row(i, func(j int, v float64) { a.Set(i, j, -v) })
		a.Set(i, i, a.At(i, i)+1)
		ones.SetVec(i, 1)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, ones); err != nil { // singular to the digits there are
		ones.ScaleVec(math.Inf(1), ones)
		return ones.RawVector().Data
	}
	return x.RawVector().Data
}

func density(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

func below(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
