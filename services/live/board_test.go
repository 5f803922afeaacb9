package live_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// plan has a fibre line on a winch, a wire on bitts and one without a load pin.
func plan(berth string) *mooring.Plan {
	return &mooring.Plan{Berth: berth, Ship: mooring.Ship{Name: "Test Ship"}, Limits: mooring.DefaultLimits(), Lines: []mooring.Line{
		{ID: "1", Group: mooring.Head, Material: mooring.HMPE, MBLkN: 640, MadeFast: mooring.Winch, Instrumented: true},
		{ID: "2", Group: mooring.FwdSpring, Material: mooring.SteelWire, MBLkN: 1000, MadeFast: mooring.Bitts, Instrumented: true},
		{ID: "3", Group: mooring.Stern, Material: mooring.HMPE, MBLkN: 640, MadeFast: mooring.Bitts},
	}}
}

// began is the tests' event time, long before their wall clock.
var began = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// wall is a clock that tests move.
type wall struct{ t time.Time }

func (w *wall) now() time.Time        { return w.t }
func (w *wall) wait(d time.Duration)  { w.t = w.t.Add(d) }
func newWall() *wall                  { return &wall{t: time.Date(2026, 11, 5, 12, 0, 0, 0, time.UTC)} }
func at(d time.Duration) (nano int64) { return began.Add(d).UnixNano() }

func series(channel string, times []int64, values ...float64) reading.Series {
	c, err := reading.ParseChannel(channel)
	if err != nil {
		panic(err)
	}
	return reading.Series{Channel: c, Time: times, Value: values, Decimals: -1}
}

func block(s ...reading.Series) *reading.Block { return &reading.Block{Sequence: 1, Series: s} }

func board(t testing.TB, w *wall) (*live.Board, *prometheus.Registry) {
	t.Helper()
	registry := prometheus.NewRegistry()
	b, err := live.New(live.Options{Registerer: registry, Now: w.now})
	if err != nil {
		t.Fatal(err)
	}
	b.SetPlan("east-3", plan("east-3"))
	return b, registry
}

func only(t *testing.T, b *live.Board) *hawserv1.BerthPicture {
	t.Helper()
	p := b.Pictures("east-3")
	if len(p) != 1 {
		t.Fatalf("%d pictures, want 1", len(p))
	}
	return p[0]
}

// What the detectors take is shown beside what the berth says, and is news once.
func TestHowTheShipLiesIsShown(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.Update("east-3", w.t, block(series("berth/watch", []int64{at(0)}, 1)))
	if p := only(t, b); p.Operating != hawserv1.OperatingState_OPERATING_STATE_UNSPECIFIED {
		t.Errorf("before the detectors: %v", p.Operating)
	}
	for _, c := range []struct {
		how  detect.Operating
		want hawserv1.OperatingState
	}{
		{detect.MadeFast, hawserv1.OperatingState_OPERATING_STATE_MADE_FAST},
		{detect.LinesMoved, hawserv1.OperatingState_OPERATING_STATE_LINES_MOVED},
		{detect.StoodDown, hawserv1.OperatingState_OPERATING_STATE_STOOD_DOWN},
	} {
		b.Lies("east-3", c.how)
		b.Lies("east-4", c.how) // has no plan
		if p := only(t, b); p.Operating != c.want || !p.GetUnderWatch() {
			t.Errorf("%v, under watch %v; want %v, true", p.Operating, p.GetUnderWatch(), c.want)
		}
	}
}

// A load is told for the lines whose parting no pin shows, in whole kilonewtons, and is
// news when it changes.
func TestFromWhichLoadAPartingIsShown(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.Update("east-3", w.t, block(series("berth/watch", []int64{at(0)}, 1)))
	for _, l := range only(t, b).Lines {
		if l.PartingShownFromKn != nil {
			t.Errorf("before the detectors: line %s from %v kN", l.Line, *l.PartingShownFromKn)
		}
	}
	least := []float64{math.NaN(), 181.2, math.Inf(1)}
	b.Shows("east-3", least)
	b.Shows("east-3", least[:2]) // of another plan
	b.Shows("east-4", least)     // has no plan
	least[1] = 90                // is not kept
	l := only(t, b).Lines
	if len(l) != 3 || l[0].PartingShownFromKn != nil || l[1].GetPartingShownFromKn() != 182 || !math.IsInf(l[2].GetPartingShownFromKn(), 1) {
		t.Fatalf("lines: %v", l)
	}
	least[1] = math.NaN()
	b.Shows("east-3", least)
	if l := only(t, b).Lines[1]; l.PartingShownFromKn != nil {
		t.Errorf("no longer told: %v kN", *l.PartingShownFromKn)
	}
}

func TestNewestGoodValueIsShown(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.Update("east-3", w.t, block(
		series("1/tension", []int64{at(0), at(time.Second)}, 95, 96),
		series("1/payout", []int64{at(0)}, 0.25),
		series("1/brake", []int64{at(0)}, 1),
		series("wind/speed", []int64{at(2 * time.Second)}, 7.5),
		series("ship/draft-aft", []int64{at(0)}, 9),
		series("berth/watch", []int64{at(0)}, 1),
		series("99/tension", []int64{at(0)}, 1), // not of the plan
	))
	late := series("1/tension", []int64{at(500 * time.Millisecond), at(3 * time.Second)}, 90, 91)
	late.Quality = []reading.Quality{reading.Good, reading.Late}
	w.wait(2 * time.Second)
	b.Update("east-3", w.t, block(late))
	w.wait(time.Second)

	p := only(t, b)
	if !p.Live || p.GetAgeSeconds() != 1 || !p.NewestReadingAt.AsTime().Equal(began.Add(2*time.Second)) || p.Ship != "Test Ship" {
		t.Errorf("berth: %v", p)
	}
	if p.GetWindSpeedMps() != 7.5 || p.GetDraftAftM() != 9 || !p.GetUnderWatch() || p.WaterLevelM != nil || p.DraftFwdM != nil {
		t.Errorf("berth's values: %v", p)
	}
	l := p.Lines[0]
	if l.GetTensionKn() != 96 || l.GetAgeSeconds() != 3 || l.GetPayoutM() != 0.25 || !l.GetBrakeSet() || !l.OnWinch {
		t.Errorf("line 1: %v", l)
	}
	// Working load limits: 0.50 of MBL for fibre, 0.55 for steel wire (MEG 4th edition).
	if l.WorkingLoadKn != 320 || p.Lines[1].WorkingLoadKn != 550 || p.Lines[1].MblKn != 1000 || p.Lines[1].Group != "fwd-spring" {
		t.Errorf("limits: %v %v", l, p.Lines[1])
	}
	if p.Lines[1].TensionKn != nil || p.Lines[1].AgeSeconds != nil || p.Lines[1].BrakeSet != nil {
		t.Errorf("line 2 has sent nothing: %v", p.Lines[1])
	}
}

func TestSensorState(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	state := func(line int) hawserv1.SensorState { return only(t, b).Lines[line].Sensor }
	send := func(quality reading.Quality, after time.Duration) {
		s := series("1/tension", []int64{at(after)}, 95)
		s.Quality = []reading.Quality{quality}
		b.Update("east-3", w.t, block(s))
	}
	const (
		good, bad, silent, none = hawserv1.SensorState_SENSOR_STATE_GOOD, hawserv1.SensorState_SENSOR_STATE_BAD,
			hawserv1.SensorState_SENSOR_STATE_SILENT, hawserv1.SensorState_SENSOR_STATE_NONE
	)
	expect := func(what string, line int, want hawserv1.SensorState) {
		t.Helper()
		if got := state(line); got != want {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	expect("before any reading", 0, silent)
	expect("no load pin", 2, none)
	send(reading.Good, 0)
	expect("good reading", 0, good)
	expect("a neighbour without readings", 1, silent)
	send(reading.Bad, time.Second)
	expect("bad reading after it", 0, bad)
	send(reading.Good, 2*time.Second)
	expect("good again", 0, good)
	w.wait(11 * time.Second) // a sensor-fault gap is over 10 s
	expect("nothing for 11 s", 0, silent)
	b.Update("east-3", w.t, block(series("2/tension", []int64{at(12 * time.Second)}, 40)))
	expect("others go on", 0, silent)
	expect("the other", 1, good)
}

func TestAClockThatRanAheadDoesNotFreezeThePicture(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.Update("east-3", w.t, block(series("1/tension", []int64{at(20 * 365 * 24 * time.Hour)}, 10)))
	w.wait(time.Second)
	b.Update("east-3", w.t, block(series("1/tension", []int64{at(0)}, 95)))
	if got := only(t, b).Lines[0].GetTensionKn(); got != 10 {
		t.Fatalf("%v kN: an older reading displaced a newer at once", got)
	}
	w.wait(10 * time.Second)
	b.Update("east-3", w.t, block(series("1/tension", []int64{at(10 * time.Second)}, 96)))
	p := only(t, b)
	if p.Lines[0].GetTensionKn() != 96 || !p.NewestReadingAt.AsTime().Equal(began.Add(10*time.Second)) || len(p.Lines[0].Course) != 1 {
		t.Errorf("picture after the clock was put right: %v", p)
	}
}

func TestCourse(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	// 20 minutes at 2 Hz: t and t+1 in second t, with a hole from 1,000 s to 1,050 s.
	var times []int64
	var values []float64
	for s := range 1200 {
		if s >= 1000 && s < 1050 {
			continue
		}
		times = append(times, at(time.Duration(s)*time.Second), at(time.Duration(s)*time.Second+500*time.Millisecond))
		values = append(values, float64(s), float64(s+1))
	}
	b.Update("east-3", w.t, block(series("1/tension", times, values...)))
	course := only(t, b).Lines[0].Course
	// 60 spans of 10 s less the five of the hole.
	if len(course) != 55 {
		t.Fatalf("%d points, want 55", len(course))
	}
	// By hand: the oldest span is 600 s to 609 s, seen from 1,199 s; values 600 to
	// 610, mean of the seconds' means 600.5 ... 609.5.
	first := course[0]
	if first.SecondsAgo != 599 || first.MinKn != 600 || first.MaxKn != 610 || math.Abs(float64(first.MeanKn)-605) > 1e-3 {
		t.Errorf("oldest point: %v", first)
	}
	last := course[54]
	if last.SecondsAgo != 9 || last.MinKn != 1190 || last.MaxKn != 1200 || math.Abs(float64(last.MeanKn)-1195) > 1e-3 {
		t.Errorf("newest point: %v", last)
	}
	if only(t, b).Lines[1].Course != nil {
		t.Error("a line without readings has a course")
	}
}

func TestStaleIsNotLiveButStaysOnShow(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.Update("east-3", w.t, block(series("1/tension", []int64{at(0)}, 95)))
	least := make([]float64, len(plan("east-3").Lines))
	for i := range least {
		least[i] = 80
	}
	b.Shows("east-3", least)
	w.wait(29 * time.Second)
	if p := only(t, b); !p.Live || p.Lines[0].GetPartingShownFromKn() != 80 {
		t.Errorf("at 29 s: %v", p)
	}
	w.wait(time.Second)
	p := only(t, b)
	if p.Lines[0].PartingShownFromKn != nil {
		t.Error("of a berth that is not live it is said from which load a parting is told")
	}
	if p.Live || p.Lines[0].GetTensionKn() != 95 || p.GetAgeSeconds() != 30 {
		t.Errorf("at 30 s: %v", p)
	}
}

func TestANewPlanStartsFromNothing(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.Update("east-3", w.t, block(series("1/tension", []int64{at(0)}, 95)))
	b.SetPlan("east-3", plan("east-3"))
	if p := only(t, b); p.Live || p.Lines[0].TensionKn != nil {
		t.Errorf("the last ship's loads are shown: %v", p)
	}
	b.Update("west-1", w.t, block(series("1/tension", []int64{at(0)}, 95)))
	if len(b.Pictures("")) != 1 {
		t.Error("a berth without a plan has a picture")
	}
}

func TestPicturesAreSortedAndShared(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	b.SetPlan("a-1", plan("a-1"))
	b.SetPlan("west-1", plan("west-1"))
	var names []string
	first := b.Pictures("")
	for _, p := range first {
		names = append(names, p.Berth)
	}
	if !reflect.DeepEqual(names, []string{"a-1", "east-3", "west-1"}) {
		t.Errorf("order: %q", names)
	}
	if b.Pictures("")[1] != first[1] {
		t.Error("drawn twice for two viewers at one time")
	}
	b.Update("east-3", w.t, block(series("1/tension", []int64{at(0)}, 95)))
	if b.Pictures("")[1].Lines[0].GetTensionKn() != 95 || first[1].Lines[0].TensionKn != nil {
		t.Error("a drawn picture changed, or the new one did not")
	}
}

func TestUpdateAllocatesNothing(t *testing.T) {
	w := newWall()
	b, _ := board(t, w)
	blk := block(series("1/tension", []int64{at(0), at(time.Second)}, 95, 96), series("wind/speed", []int64{at(0)}, 5))
	if n := testing.AllocsPerRun(100, func() { b.Update("east-3", w.t, blk) }); n != 0 {
		t.Errorf("%v allocations a block", n)
	}
}

func BenchmarkUpdate(b *testing.B) {
	brd, err := live.New(live.Options{Registerer: prometheus.NewRegistry()})
	if err != nil {
		b.Fatal(err)
	}
	brd.SetPlan("east-3", plan("east-3"))
	// Ten readings a second of one line; the next second each time.
	times, values := make([]int64, 10), make([]float64, 10)
	blk := block(series("1/tension", times, values...))
	for i := 0; b.Loop(); i++ {
		for j := range times {
			times[j] = at(time.Duration(i)*time.Second + time.Duration(j)*100*time.Millisecond)
		}
		brd.Update("east-3", time.Now(), blk)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/10, "ns/sample")
	if brd.Pictures("east-3")[0].NewestReadingAt.AsTime().UnixNano() != times[9] {
		b.Fatal("not the newest reading")
	}
}

// A mean is over the last minute of event time, by the second; a pin that is bad or
// silent has none, and a berth that is not live gives nothing.
func TestMeans(t *testing.T) {
	clock := newWall()
	b, err := live.New(live.Options{Registerer: prometheus.NewRegistry(), Now: clock.now})
	if err != nil {
		t.Fatal(err)
	}
	b.SetPlan("a", plan("a"))
	if _, ok := b.Means("a"); ok {
		t.Error("means of a berth that sent nothing")
	}
	// 500 kN before the minute; then 100 twice in one second and 200 in another.
	b.Update("a", clock.now(), &reading.Block{Series: []reading.Series{
		series("1/tension", []int64{at(0), at(70 * time.Second), at(70*time.Second + 1e8), at(80 * time.Second)}, 500, 100, 100, 200),
		series("wind/speed", []int64{at(80 * time.Second)}, 11),
	}})
	m, ok := b.Means("a")
	if !ok || m.TensionKN[0] != 150 || !math.IsNaN(m.TensionKN[1]) || !m.Newest.Equal(began.Add(80*time.Second)) {
		t.Errorf("%+v, %v", m, ok)
	}
	if v, ok := m.Value(reading.WindSpeed); !ok || v != 11 {
		t.Errorf("wind %g, %v", v, ok)
	}
	if _, ok := m.Value(reading.WaterLevel); ok {
		t.Error("a water level that nobody sent")
	}
	clock.wait(15 * time.Second) // the pin is silent, the berth live yet
	if m, ok := b.Means("a"); !ok || !math.IsNaN(m.TensionKN[0]) {
		t.Errorf("%+v, %v", m, ok)
	}
	clock.wait(time.Minute)
	if _, ok := b.Means("a"); ok {
		t.Error("means of a berth long silent")
	}
}
