package tide_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hawser/detect/mooring"
	"hawser/detect/tide"
)

// readCSV is a file of testdata without its heading; lines that begin with #
// are comments.
func readCSV(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func clock(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// stations of testdata/stations.csv.
func stations(t testing.TB) map[string]*mooring.Tide {
	t.Helper()
	out := map[string]*mooring.Tide{}
	for _, row := range readCSV(t, "stations.csv") {
		if out[row[0]] == nil {
			out[row[0]] = &mooring.Tide{}
		}
		out[row[0]].Constituents = append(out[row[0]].Constituents,
			mooring.TidalConstituent{Name: row[1], AmplitudeM: number(t, row[2]), LagDeg: number(t, row[3])})
	}
	return out
}

func curve(t testing.TB, of *mooring.Tide) *tide.Curve {
	t.Helper()
	c, err := tide.New(of)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func level(t testing.TB, c *tide.Curve, at time.Time) float64 {
	t.Helper()
	m, ok := c.At(at)
	if !ok {
		t.Fatalf("no level at %s", at)
	}
	return m
}

// TestAgainstReference holds the harmonic method to another implementation of
// it (testdata/reference.mjs), over ends of years, leap days, nights when clocks
// change and once round the moon's node: a constituent to 0.4 % of its
// amplitude, a station that rises and falls 3 m about the mean to 3 mm. The
// implementations differ in their longitudes of the moon, by 0.02 degrees, and
// in the mean values that node factors are measured by.
func TestAgainstReference(t *testing.T) {
	of := stations(t)
	curves := map[string]*tide.Curve{}
	worst := map[string]float64{}
	rows := readCSV(t, "reference.csv")
	if len(rows) < 1500 {
		t.Fatalf("only %d values", len(rows))
	}
	for _, row := range rows {
		series := row[0]
		if curves[series] == nil {
			station := of[series]
			if station == nil {
				station = &mooring.Tide{Constituents: []mooring.TidalConstituent{{Name: series, AmplitudeM: 1}}}
			}
			curves[series] = curve(t, station)
		}
		off := math.Abs(level(t, curves[series], clock(t, row[1])) - number(t, row[2]))
		tolerance := 0.004
		if of[series] != nil {
			tolerance = 0.003
		}
		if off > tolerance {
			t.Errorf("%s at %s is %.4f m off", series, row[1], off)
		}
		worst[series] = max(worst[series], off)
	}
	if len(worst) != 2+35 {
		t.Errorf("%d series, want the two stations and 35 constituents", len(worst))
	}
	for station := range of {
		t.Logf("%s: at most %.4f m off", station, worst[station])
	}
}

// TestNoSteps: the level moves on by no more in a minute than its waves can at
// their speeds, over the ends of the years, leap days and the moments when the
// sky's angles pass through a full turn.
func TestNoSteps(t *testing.T) {
	const most = 2.0e-4 * 60 * 3.3 // rad/s of a wave of twice a day, seconds, metres: with room for the faster
	c := curve(t, stations(t)["invented"])
	for _, from := range []string{"2025-12-31T18:00:00Z", "2028-02-28T18:00:00Z", "2028-02-29T18:00:00Z",
		"2036-12-31T18:00:00Z", "2026-03-29T00:00:00Z", "2099-12-31T18:00:00Z", "2100-02-28T18:00:00Z"} {
		before := level(t, c, clock(t, from))
		for minute := 1; minute <= 12*60; minute++ {
			at := clock(t, from).Add(time.Duration(minute) * time.Minute)
			now := level(t, c, at)
			if math.Abs(now-before) > most {
				t.Fatalf("from %.4f to %.4f m in the minute before %s", before, now, at)
			}
			before = now
		}
	}
}

// TestZones: an instant has one level, whatever clock it is told by; at sea and
// in the store that clock is UTC.
func TestZones(t *testing.T) {
	c := curve(t, stations(t)["open-coast"])
	summer := time.FixedZone("summer", 2*3600)
	for _, s := range []string{"2026-03-29T00:59:00Z", "2026-03-29T01:00:00Z", "2026-10-25T01:00:00Z", "2028-02-29T23:59:59Z"} {
		at := clock(t, s)
		if a, b := level(t, c, at), level(t, c, at.In(summer)); a != b {
			t.Errorf("%s: %g m by UTC, %g m by another clock", s, a, b)
		}
	}
}

// TestSpringsAndNeaps: two waves alone, M2 and S2, pass from springs to springs
// in 360/(30 - 28.9841042) hours, 14.765 days: with equal amplitudes the range
// of a tide is four of them at springs and nothing at neaps, between.
func TestSpringsAndNeaps(t *testing.T) {
	c := curve(t, &mooring.Tide{MeanLevelM: 3, Constituents: []mooring.TidalConstituent{
		{Name: "M2", AmplitudeM: 1}, {Name: "S2", AmplitudeM: 1}}})
	rangeOf := func(day float64) float64 {
		from := clock(t, "2026-01-01T00:00:00Z").Add(time.Duration(day * 24 * float64(time.Hour)))
		low, high, ok := c.Between(from, from.Add(745*time.Minute), 5*time.Minute)
		if !ok {
			t.Fatal("no range")
		}
		return high - low
	}
	springs, most := 0.0, 0.0
	for day := 0.0; day < 14.765; day += 0.05 {
		if r := rangeOf(day); r > most {
			springs, most = day, r
		}
	}
	if most < 3.8 || most > 4.2 {
		t.Errorf("springs range over %.2f m", most)
	}
	if next := rangeOf(springs + 14.765); math.Abs(next-most) > 0.02 {
		t.Errorf("the next springs range over %.3f m, not %.3f", next, most)
	}
	if neaps := rangeOf(springs + 14.765/2); neaps > 0.25 {
		t.Errorf("neaps range over %.2f m", neaps)
	}
}

func table(t testing.TB, points ...any) *mooring.Tide {
	t.Helper()
	out := &mooring.Tide{}
	for i := 0; i < len(points); i += 2 {
		out.Table = append(out.Table, mooring.TideLevel{At: clock(t, points[i].(string)), LevelM: points[i+1].(float64)})
	}
	return out
}

// TestHighAndLowWaters: half a cosine, by hand: from 5 m at 23:00 to 1 m at
// 05:00 the level is 5 - 4 (1 - cos(30 degrees × hours))/2.
func TestHighAndLowWaters(t *testing.T) {
	c := curve(t, table(t, "2028-02-28T16:40:00Z", 0.8, "2028-02-28T23:00:00Z", 5.0,
		"2028-02-29T05:00:00Z", 1.0, "2028-02-29T11:30:00Z", 5.2))
	for _, w := range []struct {
		at   string
		want float64
	}{
		{"2028-02-28T16:40:00Z", 0.8},
		{"2028-02-28T19:50:00Z", 2.9}, // half way
		{"2028-02-28T23:00:00Z", 5.0},
		{"2028-02-29T00:00:00Z", 4.732051},
		{"2028-02-29T01:00:00Z", 4.0},
		{"2028-02-29T02:00:00Z", 3.0},
		{"2028-02-29T04:00:00Z", 1.267949},
		{"2028-02-29T05:00:00Z", 1.0},
		{"2028-02-29T11:30:00Z", 5.2},
	} {
		if got := level(t, c, clock(t, w.at)); math.Abs(got-w.want) > 1e-6 {
			t.Errorf("%s: %.6f m, want %.6f", w.at, got, w.want)
		}
	}
	// The rule of twelfths: 1, 3, 6, 9, 11 twelfths of the range after each hour
	// of six. Common practice, no source; it is out by up to 0.02 of the range.
	for hour, twelfths := range []float64{0, 1, 3, 6, 9, 11, 12} {
		got := level(t, c, clock(t, "2028-02-28T23:00:00Z").Add(time.Duration(hour)*time.Hour))
		if want := 5 - 4*twelfths/12; math.Abs(got-want) > 0.02*4 {
			t.Errorf("%d hours: %.3f m, want %.3f", hour, got, want)
		}
	}
	for _, outside := range []string{"2028-02-28T16:39:59Z", "2028-02-29T11:30:01Z", "2029-01-01T00:00:00Z"} {
		if m, ok := c.At(clock(t, outside)); ok {
			t.Errorf("%s: a level of %g m where the table says nothing", outside, m)
		}
	}
	low, high, ok := c.Between(clock(t, "2028-02-28T23:00:00Z"), clock(t, "2028-02-29T05:30:00Z"), 10*time.Minute)
	if !ok || low != 1 || high != 5 {
		t.Errorf("between %g and %g m, %t", low, high, ok)
	}
	if _, high, ok := c.Between(clock(t, "2028-02-29T05:00:00Z"), clock(t, "2028-02-29T11:30:00Z"), 4*time.Hour); !ok || high != 5.2 {
		t.Errorf("the end of the time is passed over: %g m, %t", high, ok)
	}
	for _, bad := range []struct {
		from, to string
		step     time.Duration
	}{
		{"2028-02-28T10:00:00Z", "2028-02-29T00:00:00Z", time.Hour}, // begins before the table
		{"2028-02-29T00:00:00Z", "2028-02-29T12:00:00Z", time.Hour}, // ends after it
		{"2028-02-29T05:00:00Z", "2028-02-29T04:00:00Z", time.Hour},
		{"2028-02-29T04:00:00Z", "2028-02-29T05:00:00Z", 0},
	} {
		if _, _, ok := c.Between(clock(t, bad.from), clock(t, bad.to), bad.step); ok {
			t.Errorf("%+v has a range", bad)
		}
	}
}

// TestCenturies: times further apart than a time.Duration reaches are as good as
// others. M2 alone in the year 2500 stays within its largest node factor, and
// turns round in its own time; a table's rise over 8000 years is half way at the
// middle.
func TestCenturies(t *testing.T) {
	c := curve(t, &mooring.Tide{Constituents: []mooring.TidalConstituent{{Name: "M2", AmplitudeM: 1}}})
	from := clock(t, "2500-03-01T00:00:00Z")
	low, high, ok := c.Between(from, from.Add(25*time.Hour), time.Minute)
	if !ok || high > 1.04 || high < 0.96 || low < -1.04 || low > -0.96 {
		t.Errorf("from %.4f to %.4f m, %t", low, high, ok)
	}
	speed := 28.9841042 // degrees an hour
	period := time.Duration(360 / speed * float64(time.Hour))
	if a, b := level(t, c, from), level(t, c, from.Add(2*period)); math.Abs(a-b) > 0.01 {
		t.Errorf("%.4f m, and %.4f m two tides later", a, b)
	}
	long := curve(t, table(t, "1000-01-01T00:00:00Z", 0.0, "5000-01-01T00:00:00Z", 2.0, "9000-01-01T00:00:00Z", 4.0))
	if got := level(t, long, clock(t, "5000-01-01T00:00:00Z")); math.Abs(got-2) > 1e-9 {
		t.Errorf("%.4f m in the middle of 8000 years", got)
	}
}

// TestStand: between two levels alike the water stands, and the rise before and
// the fall after are half cosines still, 3 m half way.
func TestStand(t *testing.T) {
	c := curve(t, table(t, "2026-06-01T00:00:00Z", 1.0, "2026-06-01T05:00:00Z", 5.0, "2026-06-01T07:00:00Z", 5.0, "2026-06-01T13:00:00Z", 1.0))
	for at, want := range map[string]float64{"2026-06-01T02:30:00Z": 3, "2026-06-01T05:00:00Z": 5, "2026-06-01T06:00:00Z": 5,
		"2026-06-01T07:00:00Z": 5, "2026-06-01T10:00:00Z": 3} {
		if got := level(t, c, clock(t, at)); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %.4f m, want %g", at, got, want)
		}
	}
}

// TestCloseTable joins the levels of a known sine, hourly. The worst is a crest
// half way between two levels: 1 - cos(360 degrees × 0.5/12.42) = 0.032 of the
// amplitude, 0.016 of the range, is cut.
func TestCloseTable(t *testing.T) {
	sine := func(hours float64) float64 { return 2 + 1.5*math.Sin(2*math.Pi*hours/12.42) }
	of := &mooring.Tide{}
	from := clock(t, "2026-12-31T12:00:00Z")
	for hour := range 25 {
		of.Table = append(of.Table, mooring.TideLevel{At: from.Add(time.Duration(hour) * time.Hour), LevelM: sine(float64(hour))})
	}
	c := curve(t, of)
	for minute := 0; minute <= 24*60; minute += 5 {
		got := level(t, c, from.Add(time.Duration(minute)*time.Minute))
		if want := sine(float64(minute) / 60); math.Abs(got-want) > 0.016*3 {
			t.Errorf("minute %d: %.3f m, want %.3f", minute, got, want)
		}
	}
}

func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		of   *mooring.Tide
		want string
	}{
		{"unknown", &mooring.Tide{Constituents: []mooring.TidalConstituent{{Name: "M9"}}}, `"M9" is not known`},
		{"twice", &mooring.Tide{Constituents: []mooring.TidalConstituent{{Name: "M2"}, {Name: "M2"}}}, "M2 is given twice"},
		{"one level", table(t, "2026-01-01T00:00:00Z", 1.0), "2 levels or more"},
		{"back in time", table(t, "2026-01-01T00:00:00Z", 1.0, "2025-12-31T23:00:00Z", 2.0), "2025-12-31T23:00:00Z does not"},
		{"same time", table(t, "2026-01-01T00:00:00Z", 1.0, "2026-01-01T00:00:00Z", 2.0), "must rise"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got, err := tide.New(c.of); err == nil || !strings.Contains(err.Error(), c.want) || got != nil {
				t.Errorf("curve %v, error %v, want %s", got, err, c.want)
			}
		})
	}
}

func BenchmarkLevel(b *testing.B) {
	c := curve(b, stations(b)["invented"])
	at := clock(b, "2026-01-01T00:00:00Z")
	for b.Loop() {
		at = at.Add(5 * time.Minute)
		if m, ok := c.At(at); !ok || math.Abs(m) > 5 {
			b.Fatal(m, ok)
		}
	}
}

// TestExtremes: two waves of one speed's multiples can be summed by hand, S2 and
// S4 of 2 m and 0.5 m in step at noon: 2.5 m above the mean and, between the
// hours, 2 cos a + 0.5 cos 2a at its least, -1.5 m at a = 180 degrees. M2 alone
// swings by the largest node factor, 1.038 (Schureman, table of factors), and a
// table by its highest and lowest water.
func TestExtremes(t *testing.T) {
	for _, c := range []struct {
		name      string
		of        *mooring.Tide
		low, high float64
	}{
		{"S2 and S4", &mooring.Tide{MeanLevelM: 4, Constituents: []mooring.TidalConstituent{
			{Name: "S2", AmplitudeM: 2}, {Name: "S4", AmplitudeM: 0.5}}}, 2.5, 6.5},
		{"M2", &mooring.Tide{MeanLevelM: 1, Constituents: []mooring.TidalConstituent{{Name: "M2", AmplitudeM: 1}}}, -0.038, 2.038},
		{"table", table(t, "2028-02-28T16:40:00Z", 0.8, "2028-02-28T23:00:00Z", 5.0, "2028-02-29T05:00:00Z", 1.0), 0.8, 5.0},
	} {
		if low, high := curve(t, c.of).Extremes(); math.Abs(low-c.low) > 0.002 || math.Abs(high-c.high) > 0.002 {
			t.Errorf("%s: from %.4f to %.4f m, want %g to %g", c.name, low, high, c.low, c.high)
		}
	}
}

func BenchmarkExtremes(b *testing.B) {
	c := curve(b, stations(b)["invented"])
	for b.Loop() {
		if low, high := c.Extremes(); high-low < 5 || high-low > 8 {
			b.Fatal(low, high)
		}
	}
}

// TestAnyTable: whatever levels at whatever times, the curve goes through them,
// and between two of them stays between them.
func TestAnyTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of := &mooring.Tide{}
		at := time.Unix(rapid.Int64Range(-6e10, 2e11).Draw(t, "from"), 0)
		for range rapid.IntRange(2, 12).Draw(t, "levels") {
			of.Table = append(of.Table, mooring.TideLevel{At: at, LevelM: rapid.Float64Range(-30, 30).Draw(t, "level")})
			at = at.Add(time.Duration(rapid.OneOf(rapid.Int64Range(1, 10), rapid.Int64Range(1, 1e9)).Draw(t, "later")) * time.Second)
		}
		c, err := tide.New(of)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range of.Table {
			if m, ok := c.At(p.At); !ok || math.Abs(m-p.LevelM) > 1e-6 {
				t.Fatalf("%g m, %t at level %d", m, ok, i)
			}
			if i == 0 {
				continue
			}
			before := of.Table[i-1].At
			between := before.Add(time.Duration(float64(p.At.Sub(before)) * rapid.Float64Range(0, 1).Draw(t, "part")))
			low, high := min(p.LevelM, of.Table[i-1].LevelM), max(p.LevelM, of.Table[i-1].LevelM)
			if m, ok := c.At(between); !ok || !(m >= low-1e-6 && m <= high+1e-6) {
				t.Fatalf("%g m, %t between levels %d and %d", m, ok, i-1, i)
			}
		}
	})
}
