package linebook_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"hawser/detect/fatigue"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/services/linebook"
)

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-9*max(1, math.Abs(want)) }

func nearAll(got, want []float64) bool {
	return slices.EqualFunc(got, want, near)
}

// standard is the history of ASTM E1049-85, Fig. 6, as loads of a line of 1,000 kN:
// 300 kN and 50 kN for each of its units, five seconds apart.
func standard() []float64 {
	var loads []float64
	for _, x := range []float64{-2, 1, -3, 5, -1, 3, -4, 4, -2} {
		loads = append(loads, 300+50*x)
	}
	return loads
}

// The record of the standard's example, by hand. Its cycles have ranges of 0.15
// (half), 0.2 (one and a half), 0.3 (half), 0.4 (one) and 0.45 (half) of MBL. A load
// is held until the next reading: of the 40 s 10 s are in each of the bands from
// 0.1, 0.2 and 0.5 and 5 s in those from 0.3 and 0.4.
func TestStandardsExampleAsARecord(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	w.add(t, 0, series("1", reading.Tension, 1, 5, standard()...))
	got := w.lines(t, linebook.Query{Cells: true})[0]
	if got.Ship != "Heron" || got.Berth != "east-1" || got.Line != "1" || !got.InUse || got.Stays != 1 || got.Material != "polyester" {
		t.Errorf("whose record it is: %v", got)
	}
	const h = 3600
	if !near(got.HoursRead, 40.0/h) || !near(got.HoursUnderLoad, 40.0/h) {
		t.Errorf("%g h read, %g h under load", got.HoursRead, got.HoursUnderLoad)
	}
	if want := []float64{0, 10. / h, 10. / h, 5. / h, 5. / h, 10. / h, 0, 0, 0, 0, 0}; !nearAll(got.HoursInBand, want) {
		t.Errorf("bands %v, want %v", got.HoursInBand, want)
	}
	// Upward: 200 to 350, 150 to 550, 250 to 450 and 100 to 500 kN.
	if want := []float64{0, 2, 4, 3, 2, 0, 0, 0, 0, 0}; !nearAll(got.TimesAbove, want) {
		t.Errorf("times above %v, want %v", got.TimesAbove, want)
	}
	// The working load limit of fibre is half of MBL: 550 and 500 kN, 5 s each.
	if got.WorkingLoadShare != 0.5 || got.TimesAboveWorkingLoad != 2 || !near(got.HoursAboveWorkingLoad, 10.0/h) {
		t.Errorf("above the working load limit of %g: %g times, %g h", got.WorkingLoadShare, got.TimesAboveWorkingLoad, got.HoursAboveWorkingLoad)
	}
	if want := []float64{4, 4, 3.5, 2, 0}; got.Cycles != 4 || !nearAll(got.CyclesAbove, want) {
		t.Errorf("%g cycles, %v by range, want %v", got.Cycles, got.CyclesAbove, want)
	}
	miner := (0.5*math.Pow(0.15, 5.2) + 1.5*math.Pow(0.2, 5.2) + 0.5*math.Pow(0.3, 5.2) + math.Pow(0.4, 5.2) + 0.5*math.Pow(0.45, 5.2)) / 25000
	if !near(got.Miner.Sum/miner, 1) || got.Miner.M != 5.2 || got.Miner.Source == "" || got.Miner.DesignFactor != 60 || got.Miner.StandIn {
		t.Errorf("Miner sum %g, want %g, by %v", got.Miner.Sum, miner, got.Miner)
	}
	if len(got.Peaks) != 1 || got.Peaks[0].LoadKn != 550 || got.Peaks[0].At.AsTime().UnixNano() != start+16*second {
		t.Errorf("peaks %v", got.Peaks)
	}
	if len(got.Cells) != 6 { // 0.15; 0.2 about 0.25 and 0.35; 0.3; 0.4; 0.45
		t.Errorf("%d cells: %v", len(got.Cells), got.Cells)
	}
}

// What is not in a record is told: bad readings, impossible ones, late ones, gaps.
func TestWhatIsNotInARecord(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	bad := series("1", reading.Tension, 1, 1, 100, 0, 100, 1700, -200, 100)
	bad.Quality = []reading.Quality{reading.Good, reading.Bad, reading.Good, reading.Good, reading.Good, reading.Late}
	w.add(t, 0, bad)
	w.add(t, 0, series("1", reading.Tension, 2, 1, 500, 500)) // older than what was counted
	w.add(t, 0, series("1", reading.Tension, 33, 1, 100, 100))
	w.add(t, 0, series("1", reading.Tension, 3*86400, 1, 100)) // two days later: she was away
	got := w.lines(t, linebook.Query{})[0]
	q := got.Quality
	if q.Readings != 5 || q.Bad != 1 || q.OutOfRange != 2 || q.Late != 3 || q.Gaps != 1 || !near(q.GapHours, 30.0/3600) {
		t.Errorf("quality %v", q)
	}
	if !near(got.HoursRead, 3.0/3600) || got.Cycles != 0 || got.Peaks[0].LoadKn != 100 {
		t.Errorf("%g h, %g cycles, peaks %v", got.HoursRead, got.Cycles, got.Peaks)
	}
}

// The ten highest, ten minutes apart: of a peak and its neighbours the highest.
func TestPeaksAreApart(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	var loads []float64
	for i := range 12 * 200 { // 5 s apart: a peak every 1,000 s
		load := 100.0
		switch i % 200 {
		case 99, 101:
			load = 300 + float64(i/200)
		case 100:
			load = 400 + float64(i/200)
		}
		if loads = append(loads, load); len(loads) == 200 {
			w.add(t, 0, series("1", reading.Tension, 1+5*float64(i-199), 5, loads...))
			loads = nil
		}
	}
	got := w.lines(t, linebook.Query{})[0].Peaks
	if len(got) != 10 {
		t.Fatalf("%d peaks", len(got))
	}
	for i, p := range got {
		if want := 411 - float64(i); p.LoadKn != want {
			t.Errorf("peak %d: %g kN, want %g", i, p.LoadKn, want)
		}
	}
}

// Line that goes out past a set brake is rendered; what is paid out by hand is not.
// By hand: 0.06 m at 3 s and 0.10 m more by 5 s are one rendering of 0.16 m; what
// comes a quarter of an hour later is another; noise is none.
func TestRendering(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	w.add(t, 0,
		series("1", reading.Payout, 1, 1, 0, 0, 0.06, 0.06, 0.16, 0.17, 0.15),
		series("1", reading.Brake, 1, 1, 1, 1, 1, 1, 1, 1, 1))
	w.add(t, 0, // paid out by hand
		series("1", reading.Payout, 100, 1, 0.16, 1.16, 3.16),
		series("1", reading.Brake, 100, 1, 0, 0, 0))
	w.add(t, 0,
		series("1", reading.Brake, 900, 1, 1, 1, 1),
		series("1", reading.Payout, 900, 1, 3.16, 3.16, 3.41))
	w.add(t, 0, series("1", reading.Tension, 901, 1, 100, 100))
	got := w.lines(t, linebook.Query{})[0]
	if !near(got.RenderedM, 0.41) || got.Renderings != 2 || len(got.RecentRenderings) != 2 {
		t.Fatalf("%g m rendered, %d times: %v", got.RenderedM, got.Renderings, got.RecentRenderings)
	}
	first, last := got.RecentRenderings[0], got.RecentRenderings[1]
	if !near(first.Metres, 0.16) || first.At.AsTime().UnixNano() != start+3*second || !near(last.Metres, 0.25) {
		t.Errorf("%v, %v", first, last)
	}
}

// Alarms count where their line was then; a fault of the load pin counts its hours.
func TestAlarmsCount(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}, mooring.Line{ID: "2"}), aPlan("east-1", "Curlew", mooring.Line{ID: "1"}))
	w.add(t, 0, series("1", reading.Tension, 1, 1, 100, 100), series("2", reading.Tension, 1, 1, 100, 100))
	w.add(t, 1, series("1", reading.Tension, 4000, 1, 100, 100))
	at := time.Unix(0, start)
	w.alarms = []linebook.Event{
		{Position: 1, Berth: "east-1", Line: "1", Condition: "brake-slip", Raised: true, Time: at, Journal: 1},
		{Position: 2, Berth: "east-1", Line: "1", Condition: "brake-slip", Time: at, Journal: 1},
		{Position: 3, Berth: "east-1", Line: "2", Condition: "sensor-fault", Raised: true, Time: at, Journal: 1},
		{Position: 4, Condition: "journal-space", Raised: true, Time: at},
		{Position: 5, Berth: "east-1", Line: "2", Condition: "sensor-fault", Time: at.Add(time.Hour), Journal: 1},
		{Position: 6, Berth: "east-1", Line: "1", Condition: "snap-load", Raised: true, Time: at.Add(2 * time.Hour), Journal: 2},
		{Position: 7, Berth: "east-1", Line: "1", Condition: "line-parted", Raised: true, Time: at.Add(2 * time.Hour), Journal: 2},
		{Position: 8, Berth: "east-1", Line: "1", Condition: "over-limit", Raised: true, Time: at.Add(2 * time.Hour), Journal: 2},
	}
	w.run(t, func(b *linebook.Book) {
		heron, curlew := list(t, b, linebook.Query{Ship: "Heron"}), list(t, b, linebook.Query{Ship: "Curlew"})
		if len(heron) != 2 || len(curlew) != 1 || heron[0].Berth != "" || curlew[0].Berth != "east-1" {
			t.Fatalf("Heron %v\nCurlew %v", heron, curlew)
		}
		if h := heron[0]; h.Slips != 1 || h.SnapLoads+h.Partings+h.OverLimits != 0 {
			t.Errorf("Heron's line 1: %v", h)
		}
		if q := heron[1].Quality; q.SensorFaults != 1 || q.SensorFaultHours != 1 {
			t.Errorf("Heron's line 2: %v", q)
		}
		if c := curlew[0]; c.Slips != 0 || c.SnapLoads != 1 || c.Partings != 1 || c.OverLimits != 1 {
			t.Errorf("Curlew's line 1: %v", c)
		}
	})
}

// A curve of one's own goes before the one built in, also for what was counted long ago.
func TestOwnCurve(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	w.add(t, 0, series("1", reading.Tension, 1, 5, standard()...))
	before := w.lines(t, linebook.Query{})[0].Miner.Sum
	w.curves = map[mooring.Material]fatigue.Curve{mooring.Polyester: {Name: "maker's", M: 1, LogK: 0, DesignFactor: 2, Source: "certificate"}}
	// With N = 1/R the sum is that of the ranges: 23 units of 0.05 of MBL.
	got := w.lines(t, linebook.Query{})[0].Miner
	if !near(got.Sum, 1.15) || got.Source != "certificate" || before > 1e-5 {
		t.Errorf("%v; by the curve built in %g", got, before)
	}
	if _, err := linebook.New(linebook.Options{}); err == nil {
		t.Error("a book of nothing")
	}
}
