package detect

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// What is computed tick by tick is compared with the batch solutions of a library, by
// QR: gonum.org/v1/gonum/mat and stat.

// least is the least-squares solution of rows·x = y, row i weighted by weight[i].
func least(t *testing.T, rows [][]float64, y, weight []float64) []float64 {
	t.Helper()
	a, b := mat.NewDense(len(rows), len(rows[0]), nil), mat.NewDense(len(rows), 1, nil)
	for i, row := range rows {
		s := math.Sqrt(weight[i])
		for j, v := range row {
			a.Set(i, j, s*v)
		}
		b.Set(i, 0, s*y[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	var x mat.Dense
	if err := qr.SolveTo(&x, false, b); err != nil {
		t.Fatal(err)
	}
	return mat.Col(nil, 0, &x)
}

// moving is a berth of eight lines after some minutes with a moving ship, and the next
// tick.
func moving(t *testing.T) (*Berth, moment) {
	t.Helper()
	p := &mooring.Plan{Berth: "b", Limits: mooring.DefaultLimits(),
		Ship: mooring.Ship{LoaM: 180, BeamM: 32, DisplacementT: 50000, SideWindageM2: 2900}}
	groups := []mooring.Group{mooring.Head, mooring.FwdBreast, mooring.FwdSpring, mooring.AftSpring, mooring.AftBreast, mooring.Stern}
	for i, at := range [][2]float64{{86, 115}, {80, 100}, {70, 66}, {60, 10}, {-60, -12}, {-70, -64}, {-82, -101}, {-86, -112}} {
		y := -36.0
		if i == 3 || i == 4 {
			y = -6
		}
		p.Lines = append(p.Lines, mooring.Line{ID: string(rune('a' + i)), Group: groups[i*6/8], Instrumented: true,
			Fairlead: mooring.Point{X: at[0], Y: 2, Z: 14}, Hook: mooring.Point{X: at[1], Y: y, Z: 6},
			InboardM: 14, Material: mooring.Polyester, DiameterMM: 60, MBLkN: 640, PretensionKN: 95, MadeFast: mooring.Bitts})
	}
	b, r := New(p), rand.New(rand.NewPCG(3, 4))
	const start, seconds = int64(1_772_323_200) * second, 150
	for s := range int64(seconds) {
		for i := range p.Lines {
			col := reading.Series{Channel: reading.Channel{Line: p.Lines[i].ID, Kind: reading.Tension}}
			for k := range int64(10) {
				at := float64(s) + float64(k)/10
				col.Time = append(col.Time, start+s*second+k*second/10)
				col.Value = append(col.Value, 95+8*math.Sin(at/3+float64(i/3))+float64(i)*math.Sin(at/7)+0.5*r.NormFloat64())
			}
			b.Push("a", &col)
		}
		b.Advance("a", start+(s+1)*second-1, nil)
	}
	return b, moment{Time: start + seconds*second + tickLength, Tick: start/tickLength + seconds*int64(ticksPerSecond)}
}

// The fitted position is the regularised weighted least-squares solution over the
// lines, and a line's expected load is that of the same without the line.
func TestFitIsLeastSquares(t *testing.T) {
	b, now := moving(t)
	before := append([]line(nil), b.state.Lines...)
	b.fitMotion(now)
	var rows [][]float64
	var y, weight []float64
	ridge := 0.0
	for i := range b.state.Lines {
		f, g := &b.state.Lines[i].Fit, b.jacobian(i)
		if f.Weight == 0 {
			t.Fatalf("line %d is not in the fit", i)
		}
		rows = append(rows, g[:])
		y = append(y, before[i].Fit.Stretch-before[i].Fit.Offset)
		weight = append(weight, f.Weight)
		ridge += 1e-4 * f.Weight * dot(&g, &g)
	}
	for p := range modes {
		trace := make([]float64, modes)
		trace[p] = 1
		rows, y, weight = append(rows, trace), append(y, 0), append(weight, ridge)
	}
	q := least(t, rows, y, weight)
	for p := range modes {
		if math.Abs(b.state.Motion.Pos[p]-q[p]) > 1e-9 {
			t.Errorf("mode %d: %v m, by the library %v m", p, b.state.Motion.Pos[p], q[p])
		}
	}
	if math.Abs(q[0])+math.Abs(q[1])+math.Abs(q[2]) < 0.01 {
		t.Errorf("the ship does not move: %v", q)
	}
	for i := range b.state.Lines {
		f := &b.state.Lines[i].Fit
		if !f.Known {
			continue
		}
		others := append([]float64(nil), weight...)
		others[i] = 0
		q := least(t, rows, y, others)
		g := b.jacobian(i)
		off := y[i] - dot(&g, (*[modes]float64)(q))
		want := b.models[i].loadAt(f.Stretch-off, f.Load, f.Stretch, f.Stiffness)
		if math.Abs(f.Expected-want) > 1e-6 {
			t.Errorf("line %d: expected load %v kN, by the library without the line %v kN", i, f.Expected, want)
		}
	}
}

// Recursive least squares with forgetting is the batch solution with exponential
// weights and a prior of priorVariance.
func TestRLSForgetIsLeastSquares(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var c, first, truth [regressors]float64
	var cov [regressors][regressors]float64
	for k := range truth {
		truth[k], first[k] = r.NormFloat64(), r.NormFloat64()
		cov[k][k] = priorVariance
	}
	c = first
	const updates = 400
	var rows [][]float64
	var y, weight []float64
	for n := range updates {
		x := make([]float64, regressors)
		moved := 0.3 * observationSD * r.NormFloat64()
		e := 0.0
		for k := range x {
			x[k] = observationSD * r.NormFloat64()
			moved += truth[k] * x[k]
			e -= c[k] * x[k]
		}
		rlsForget(&c, &cov, (*[regressors]float64)(x), moved+e)
		rows, y = append(rows, x), append(y, moved)
		weight = append(weight, math.Pow(forgetting, float64(updates-1-n))/(observationSD*observationSD))
	}
	for k, v := range first {
		one := make([]float64, regressors)
		one[k] = 1
		rows, y = append(rows, one), append(y, v)
		weight = append(weight, math.Pow(forgetting, updates)/priorVariance)
	}
	for k, want := range least(t, rows, y, weight) {
		if math.Abs(c[k]-want) > 1e-9 {
			t.Errorf("coefficient %d: %v, by the library %v", k, c[k], want)
		}
	}
}

// The trend is the regression line.
func TestTrendIsTheRegressionLine(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	var tr trend
	var all []float64
	for n := range 3*trendSpan + 7 {
		v := 100 + 2.5*float64(n) + 4*r.NormFloat64()
		all = append(all, v)
		tr.minute(v, true, 320)
	}
	for _, c := range [][2]int64{{0, trendSpan}, {0, trendSpan / 2}, {trendSpan / 2, trendSpan}} {
		var x, y []float64
		for k := c[0]; k < c[1]; k++ {
			x, y = append(x, float64(k)), append(y, all[int64(len(all)-trendSpan)+k])
		}
		level, slope := stat.LinearRegression(x, y, nil, false)
		squares := 0.0
		for k := range x {
			squares += math.Pow(y[k]-level-slope*x[k], 2)
		}
		got, rms := tr.line(c[0], c[1])
		if math.Abs(got-slope) > 1e-9 || math.Abs(rms-math.Sqrt(squares/float64(len(x)))) > 1e-9 {
			t.Errorf("means %d to %d: slope %v and rms residual %v, by the library %v and %v", c[0], c[1], got, rms, slope, math.Sqrt(squares/float64(len(x))))
		}
	}
}
