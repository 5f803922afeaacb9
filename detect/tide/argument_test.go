package tide_test

import (
	"math"
	"testing"
	"time"

	"hawser/detect/tide"
)

const degree = math.Pi / 180

// TestSpeeds: the arguments advance at the published speeds, which are stated to
// seven decimals, over the time in which a wave makes up to 800 rounds.
func TestSpeeds(t *testing.T) {
	const hours = 2500
	from := time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)
	rows := readCSV(t, "speeds.csv")
	if len(rows) < 30 {
		t.Fatalf("only %d speeds", len(rows))
	}
	for _, row := range rows {
		want := number(t, row[1])
		turned := (tide.Argument(row[0], from.Add(hours*time.Hour)) - tide.Argument(row[0], from)) / degree
		if off := math.Remainder(turned-want*hours, 360) / hours; math.Abs(off) > 3e-7 {
			t.Errorf("%s is faster than %s degrees an hour by %g", row[0], row[1], off)
		}
	}
}

// year2000 is the sky in degrees by days from 0 h on 1 January 2000, and the
// arguments of M1 and M3 by it, from a published list of the 37 constituents'
// arguments (there in whole turns a day, from midnight): M1 = 360 d - s + h + p
// + 90, M3 = 1080 d - 3 s + 3 h + 180.
func year2000(at time.Time) (m1, m3, p, n float64) {
	d := at.Sub(time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)).Hours() / 24
	h, s := 279.97+0.98564736*d, 211.73+13.17639648*d
	p, n = 83.30+0.11140352*d, -(234.98 + 0.05295376*d)
	return 360*d - s + h + p + 90, 1080*d - 3*s + 3*h + 180, p, n
}

// TestM1M3 are the two constituents that the reference values leave out. Their
// node corrections are the International Hydrographic Organization's series,
// M3 with the 3/2 power of M2's, and M1 with f sin u = sin p + 0.2 sin(p - N),
// f cos u = 2 (cos p + 0.2 cos(p - N)), u on an argument without p. The factors
// of M1, up to 2.4, are rounded there, and larger than Schureman's by 8 %.
func TestM1M3(t *testing.T) {
	for year := 2000; year < 2040; year++ {
		at := time.Date(year, time.April, 7, 5, 40, 0, 0, time.UTC)
		m1, m3, p, n := year2000(at)
		sinP, cosP := math.Sincos(p * degree)
		sinPN, cosPN := math.Sincos((p - n) * degree)
		x, y := 2*(cosP+0.2*cosPN), sinP+0.2*sinPN
		for _, w := range []struct {
			name      string
			argument  float64
			f, u, tol float64
		}{
			{"M1", m1 - p, math.Hypot(x, y), math.Atan2(y, x) / degree, 0.15},
			{"M3", m3, math.Pow(1.0007-0.0373*math.Cos(n*degree)+0.0002*math.Cos(2*n*degree), 1.5),
				-3.21 * math.Sin(n*degree), 0.006},
		} {
			f, u := tide.Correction(w.name, at)
			got := f * math.Cos(tide.Argument(w.name, at)+u)
			want := w.f * math.Cos((w.argument+w.u)*degree)
			if math.Abs(got-want) > w.tol {
				t.Errorf("%d: %s stands at %.4f, want %.4f", year, w.name, got, want)
			}
		}
	}
}
