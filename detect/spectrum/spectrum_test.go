package spectrum_test

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"hawser/detect/spectrum"
)

// By scipy.signal.welch, reckoned anew in CI by testdata/scipy/reference.py.
func TestWelchAgainstSciPy(t *testing.T) {
	data, err := os.ReadFile("testdata/scipy/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		Rate                float64
		Length              int
		Values, Hz, Density []float64
	}
	if err := json.Unmarshal(data, &cases); err != nil || len(cases) == 0 {
		t.Fatalf("%d cases, err %v", len(cases), err)
	}
	for i, c := range cases {
		s, err := spectrum.Welch(c.Values, c.Rate, c.Length)
		if err != nil || len(s.Density) != len(c.Density) {
			t.Fatalf("case %d: %d of %d densities, err %v", i, len(s.Density), len(c.Density), err)
		}
		for k := range c.Density {
			// SciPy leaves a rounding error's worth at 0 Hz, of the values' size.
			if math.Abs(s.Density[k]-c.Density[k]) > 1e-9*c.Density[k]+1e-9 || math.Abs(s.Hz[k]-c.Hz[k]) > 1e-12 {
				t.Errorf("case %d: %g at %g Hz, want %g at %g Hz", i, s.Density[k], s.Hz[k], c.Density[k], c.Hz[k])
			}
		}
	}
}

// A sine's variance is half the square of its amplitude, and a spectrum's integral
// is the variance (Parseval's theorem).
func TestSine(t *testing.T) {
	const amplitude, period, rate = 40.0, 12.8, 1.0
	values := make([]float64, 4096)
	for i := range values {
		values[i] = 300 + amplitude*math.Sin(2*math.Pi*float64(i)/rate/period)
	}
	s, err := spectrum.Welch(values, rate, 1024)
	if err != nil {
		t.Fatal(err)
	}
	variance := 0.0
	for _, d := range s.Density {
		variance += d * (s.Hz[1] - s.Hz[0])
	}
	if want := amplitude * amplitude / 2; math.Abs(variance-want) > 0.001*want {
		t.Errorf("variance %.2f, want %.2f", variance, want)
	}
	peaks := s.Peaks(3, 2, 300)
	if len(peaks) != 1 || math.Abs(peaks[0].Seconds-period) > 0.1 || peaks[0].Share < 0.99 {
		t.Errorf("peaks: %+v", peaks)
	}
}

// Values with gaps give what their whole stretches give.
func TestGaps(t *testing.T) {
	values := make([]float64, 900)
	for i := range values {
		values[i] = math.Sin(float64(i)/3) + math.Sin(float64(i)/40)
	}
	want, err := spectrum.Welch(values[:256], 1, 256)
	if err != nil {
		t.Fatal(err)
	}
	broken := append([]float64(nil), values...)
	for i := 256; i < len(broken); i += 100 { // no other stretch is long enough
		broken[i] = math.NaN()
	}
	got, err := spectrum.Welch(broken, 1, 256)
	if err != nil || got.Segments != 1 {
		t.Fatalf("%d segments, err %v", got.Segments, err)
	}
	for i := range want.Density {
		if got.Density[i] != want.Density[i] {
			t.Fatalf("at %g Hz %g, want %g", want.Hz[i], got.Density[i], want.Density[i])
		}
	}
	for name, values := range map[string][]float64{"none": nil, "few": values[:100], "gaps only": broken[256:]} {
		if _, err := spectrum.Welch(values, 1, 256); !errors.Is(err, spectrum.ErrTooShort) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestPeaksBySize(t *testing.T) {
	values := make([]float64, 8192)
	for i := range values {
		at := 2 * math.Pi * float64(i)
		values[i] = 30*math.Sin(at/16) + 20*math.Sin(at/128) + 1*math.Sin(at/4)
	}
	s, err := spectrum.Welch(values, 1, 1024)
	if err != nil {
		t.Fatal(err)
	}
	peaks := s.Peaks(5, 2, 300)
	// Variances 450, 200 and 0.5: the last is under a tenth of the greatest.
	if len(peaks) != 2 || math.Abs(peaks[0].Seconds-16) > 0.2 || math.Abs(peaks[1].Seconds-128) > 8 ||
		math.Abs(peaks[0].Share-450/650.5) > 0.01 || math.Abs(peaks[1].Share-200/650.5) > 0.01 {
		t.Errorf("peaks: %+v", peaks)
	}
	if p := s.Peaks(5, 2, 64); len(p) != 1 || math.Abs(p[0].Seconds-16) > 0.2 {
		t.Errorf("to 64 s: %+v", p)
	}
	drift := make([]float64, 256)
	for i := range drift {
		drift[i] = 100 * math.Sin(math.Pi*float64(i)/256)
	}
	if s, err = spectrum.Welch(drift, 1, 256); err != nil || s.Peaks(5, 2, 300) != nil {
		t.Errorf("a drift: %+v, err %v", s.Peaks(5, 2, 300), err)
	}
	if p := s.Peaks(5, 500, 600); p != nil {
		t.Errorf("where there is nothing: %+v", p)
	}
}
