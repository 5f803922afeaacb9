package chart_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"hawser/detect/chart"
)

// Average run lengths against published tables, each row's source in the file,
// to half of the last printed digit and a little, some being cut off rather than
// rounded; but to 1e-7 of the run, where the manual's
// own approximation ends, to 5e-5 in the oldest tables, which were computed by
// coarse steps, and to 0.1 in the one from memory.
func TestPublishedRunLengths(t *testing.T) {
	for _, r := range table(t, "run-lengths.csv") {
		a, b, head, shift := number(t, r[1]), number(t, r[2]), number(t, r[3]), number(t, r[4])
		var got float64
		switch r[0] {
		case "cusum-one-sided":
			got = chart.Cusum{K: a, H: b}.RunLength(shift, head)
		case "cusum-two-sided":
			c := chart.Cusum{K: a, H: b}
			got = chart.Either(c.RunLength(shift, head), c.RunLength(shift, 0), c.RunLength(-shift, head), c.RunLength(-shift, 0))
		case "ewma-two-sided":
			got = chart.Ewma{Lambda: a, L: b}.RunLength(shift)
		default:
			t.Fatalf("no such scheme: %s", r[0])
		}
		_, decimals, _ := strings.Cut(r[5], ".")
		within := max(0.6*math.Pow(10, -float64(len(decimals))), 1e-7*got)
		switch r[6] {
		case "Montgomery Introduction to Statistical Quality Control (from memory)":
			within = max(within, 0.1)
		case "Vance 1986; Goel and Wu 1971":
			within = max(within, 5e-5*got)
		}
		if want := number(t, r[5]); math.Abs(got-want) > within {
			t.Errorf("%s %s/%s from %s, shift %s: %.6g, published %s (%s)", r[0], r[1], r[2], r[3], r[4], got, r[5], r[6])
		}
	}
}

// The cumulative sum as a Markov chain of m states. Source: D. Brook,
// D. A. Evans, Biometrika 59 (1972). Its error falls with the square of m.
func brookEvans(k, h, shift float64, m int) float64 {
	law := distuv.Normal{Sigma: 1}
	w := 2 * h / float64(2*m-1)
	a := mat.NewDense(m, m, nil)
	ones := mat.NewVecDense(m, nil)
	for i := range m {
		for j := range m {
			p := law.CDF(-float64(i)*w + w/2 + k - shift)
			if j > 0 {
				at := float64(j-i)*w + k - shift
				p = law.CDF(at+w/2) - law.CDF(at-w/2)
			}
			a.Set(i, j, -p)
		}
		a.Set(i, i, a.At(i, i)+1)
		ones.SetVec(i, 1)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, ones); err != nil {
		return math.NaN()
	}
	return x.AtVec(0)
}

// The moving average as a Markov chain. Source: J. M. Lucas, M. S. Saccucci,
// Technometrics 32 (1990).
func lucasSaccucci(lambda, l, shift float64, m int) float64 {
	law := distuv.Normal{Sigma: 1}
	limit := l * math.Sqrt(lambda/(2-lambda))
	w := 2 * limit / float64(m)
	a := mat.NewDense(m, m, nil)
	ones := mat.NewVecDense(m, nil)
	mid := func(i int) float64 { return -limit + (float64(i)+0.5)*w }
	for i := range m {
		for j := range m {
			at := func(y float64) float64 { return law.CDF((y-(1-lambda)*mid(i))/lambda - shift) }
			a.Set(i, j, -(at(mid(j)+w/2) - at(mid(j)-w/2)))
		}
		a.Set(i, i, a.At(i, i)+1)
		ones.SetVec(i, 1)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, ones); err != nil {
		return math.NaN()
	}
	return x.AtVec(m / 2) // m is odd: the middle state
}

// Two ways of computing: the integral equation here and the chains of the
// literature, whose error is taken out by two sizes of chain.
func TestRunLengthsByMarkovChain(t *testing.T) {
	refined := func(coarse, fine float64) float64 { return fine + (fine-coarse)/3 }
	for _, c := range []struct{ k, h, shift float64 }{{0.5, 4, 0}, {0.5, 5, 0}, {0.5, 5, 1}, {0.25, 8, 0.5}, {1, 2.5, 0}, {0, 10, 0}, {1.5, 3, 0}, {0.5, 9, 0}} {
		got := chart.Cusum{K: c.k, H: c.h}.RunLength(c.shift, 0)
		want := refined(brookEvans(c.k, c.h, c.shift, 100), brookEvans(c.k, c.h, c.shift, 200))
		if math.Abs(got/want-1) > 1e-4 {
			t.Errorf("sum %+v: %.7g, by the chain %.7g", c, got, want)
		}
	}
	for _, c := range []struct{ lambda, l, shift float64 }{{0.1, 2.814, 0}, {0.05, 2.615, 1}, {0.4, 3.054, 0}, {0.2, 4, 0}, {1, 3, 0}, {0.25, 3, 2}} {
		got := chart.Ewma{Lambda: c.lambda, L: c.l}.RunLength(c.shift)
		want := refined(lucasSaccucci(c.lambda, c.l, c.shift, 101), lucasSaccucci(c.lambda, c.l, c.shift, 203))
		if math.Abs(got/want-1) > 1e-3 {
			t.Errorf("average %+v: %.7g, by the chain %.7g", c, got, want)
		}
	}
}

// With a weight of one the average is the observation: Shewhart's chart. Its run
// length is 1/p. By the normal law, 370.398 and, shifted by one, 43.895.
func TestShewhart(t *testing.T) {
	e := chart.Ewma{Lambda: 1, L: 3}
	for shift, want := range map[float64]float64{0: 370.398, 1: 43.895} {
		if got := e.RunLength(shift); math.Abs(got-want) > 5e-4 {
			t.Errorf("shift %v: %.4f, want %v", shift, got, want)
		}
	}
}

// Siegmund's approximation, good to some per cent where the run is long.
// Source: D. Siegmund, Sequential Analysis (1985), from memory.
func TestSiegmund(t *testing.T) {
	for _, c := range []struct{ k, h, shift float64 }{{0.5, 5, 0}, {0.5, 4, 0}, {0.5, 5, 1}, {1, 4, 0}, {0.5, 15, 0}, {0.5, 12, 0.4}} {
		d, b := c.shift-c.k, c.h+1.166
		want := (math.Exp(-2*d*b) + 2*d*b - 1) / (2 * d * d)
		if got := (chart.Cusum{K: c.k, H: c.h}).RunLength(c.shift, 0); math.Abs(got/want-1) > 0.06 {
			t.Errorf("%+v: %.5g, by Siegmund %.5g", c, got, want)
		}
	}
}

// Charts run on numbers drawn by lot tell as often as their run length says.
func TestRunLengthsDrawnByLot(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	const runs = 20_000
	c, e := chart.Cusum{K: 0.5, H: 4}, chart.Ewma{Lambda: 0.2, L: 2.5}
	for _, shift := range []float64{0, 1} {
		drawn := func(step func(x float64) bool) (mean, sigma float64) {
			var sum, squares float64
			for range runs {
				n := 1.0
				for !step(r.NormFloat64() + shift) {
					n++
				}
				sum, squares = sum+n, squares+n*n
			}
			mean = sum / runs
			return mean, math.Sqrt((squares/runs - mean*mean) / runs)
		}
		sum, average := 0.0, 0.0
		got, sigma := drawn(func(x float64) (told bool) {
			if sum, told = c.Next(sum, x); told {
				sum = 0
			}
			return told
		})
		if want := c.RunLength(shift, 0); math.Abs(got-want) > 4*sigma {
			t.Errorf("sum, shift %v: %.3f ± %.3f drawn, %.3f computed", shift, got, sigma, want)
		}
		got, sigma = drawn(func(x float64) bool {
			average = e.Next(average, x)
			told := math.Abs(average) > e.Settled()
			if told {
				average = 0
			}
			return told
		})
		if want := e.RunLength(shift); math.Abs(got-want) > 4*sigma {
			t.Errorf("average, shift %v: %.3f ± %.3f drawn, %.3f computed", shift, got, sigma, want)
		}
	}
}

// Designs give back the charts of the tables, run as long as was asked, and say
// what they cannot do.
func TestDesigns(t *testing.T) {
	// the run lengths of Lucas and Crosier (1982) and Lucas and Saccucci (1990)
	c, err := chart.DesignCusum(0.5, 2*168)
	if err != nil || math.Abs(c.H-4) > 0.005 {
		t.Errorf("sum for 336 one-sided: %+v, %v; want a height of 4", c, err)
	}
	for lambda, want := range map[float64]float64{0.03: 2.437, 0.5: 3.071} {
		e, err := chart.DesignEwma(lambda, 500)
		if err != nil || math.Abs(e.L-want) > 0.001 {
			t.Errorf("average for 500: %+v, %v; want %v", e, err, want)
		}
	}
	for _, run := range []float64{7, 1000, 1e7, 1e10} {
		c, err := chart.DesignCusum(1, run)
		if err != nil || math.Abs(c.RunLength(0, 0)/run-1) > 1e-6 {
			t.Errorf("sum for %g: %+v, %v", run, c, err)
		}
		e, err := chart.DesignEwma(0.1, run)
		if err != nil || math.Abs(e.RunLength(0)/run-1) > 1e-6 {
			t.Errorf("average for %g: %+v, %v", run, e, err)
		}
	}
	for _, run := range []float64{0, 1, -5, math.NaN(), math.Inf(1), 1e11} {
		if c, err := chart.DesignCusum(0.5, run); err == nil {
			t.Errorf("a sum for %g: %+v", run, c)
		}
	}
	// beyond one deviation an observation comes once in 6.3 whatever the height
	if c, err := chart.DesignCusum(1, 6); err == nil {
		t.Errorf("a sum for 6: %+v", c)
	}
	for _, lambda := range []float64{0, -1, 1.5, math.NaN()} {
		if e, err := chart.DesignEwma(lambda, 500); err == nil {
			t.Errorf("an average of weight %g: %+v", lambda, e)
		}
	}
}

func ExampleDesignCusum() {
	// One false alarm in a year of a decision each ten seconds, a shift of two
	// standard deviations to be found soonest.
	c, err := chart.DesignCusum(1, 365*24*360)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("told over %.2f, after %.1f decisions\n", c.H, c.RunLength(2, 0))
	// Output: told over 6.69, after 7.4 decisions
}
