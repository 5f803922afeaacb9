package reckon_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
	"hawser/services/live"
	"hawser/services/reckon"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// fourAbreast is a ship on four like lines straight off the quay, two 50 m before
// and two 50 m abaft amidships, of 100 kN: working load limit 50 kN.
func fourAbreast(berth string) *mooring.Plan {
	p := &mooring.Plan{Berth: berth, Ship: mooring.Ship{Name: "Test Ship", LoaM: 120, BeamM: 20, DisplacementT: 9000, SideWindageM2: 900, EndWindageM2: 200},
		Reference: mooring.Reference{DraftFwdM: 6, DraftAftM: 6}, Limits: mooring.DefaultLimits()}
	for k, x := range []float64{-50, -50, 50, 50} {
		p.Lines = append(p.Lines, mooring.Line{ID: fmt.Sprint(k + 1), Group: mooring.FwdBreast, Fairlead: mooring.Point{X: x, Z: 5},
			Hook: mooring.Point{X: x, Y: -40, Z: 5}, Material: mooring.Polyester, MBLkN: 100, PretensionKN: 20, MadeFast: mooring.Bitts, Instrumented: true})
	}
	return p
}

// station is a board, an alarm log and a reckoner over one berth, in fake time.
type station struct {
	t        *testing.T
	board    *live.Board
	log      *alarm.Log
	reckoner *reckon.Reckoner
	registry *prometheus.Registry
	sequence uint64
	told     uint64 // changes so far
	lies     detect.Operating
	stop     func()
}

func start(t *testing.T, plan *mooring.Plan) *station {
	t.Helper()
	s := &station{t: t, registry: prometheus.NewRegistry()}
	quiet := slog.New(slog.DiscardHandler)
	var err error
	if s.board, err = live.New(live.Options{Registerer: prometheus.NewRegistry()}); err != nil {
		t.Fatal(err)
	}
	s.board.SetPlan(plan.Berth, plan)
	if s.log, err = alarm.Open(t.Context(), alarm.Options{Records: &alarmtest.Records{}, Logger: quiet, Registerer: prometheus.NewRegistry()}); err != nil {
		t.Fatal(err)
	}
	s.reckoner, err = reckon.New(reckon.Options{Board: s.board, Berths: func() []string { return []string{plan.Berth} },
		Alarms: s.log, Log: quiet, Registerer: s.registry})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.reckoner.Run(ctx) }()
	synctest.Wait()
	time.Sleep(time.Second / 2) // readings come between two rounds, never at the same moment
	s.stop = func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if err := s.log.Close(); err != nil {
			t.Error(err)
		}
	}
	return s
}

// goOn lets the berth send these loads for some seconds, once a second.
func (s *station) goOn(seconds int, loads ...float64) {
	for range seconds {
		s.sequence++
		b := &reading.Block{Sequence: s.sequence}
		at := time.Now().UnixNano()
		for i, kN := range loads {
			b.Series = append(b.Series, reading.Series{Channel: reading.Channel{Line: fmt.Sprint(i + 1), Kind: reading.Tension}, Time: []int64{at}, Value: []float64{kN}})
		}
		s.board.Update("hand", time.Now(), b)
		s.board.Lies("hand", s.lies)
		time.Sleep(time.Second) // of the bubble
	}
	synctest.Wait()
}

// warning is the warning's detail, "" while it does not stand.
func (s *station) warning() string {
	s.t.Helper()
	active, _ := s.log.List("hand", false)
	for i := range active {
		if active[i].Condition == reckon.OneLineFromLimit {
			return active[i].Detail
		}
	}
	return ""
}

// By hand: with 30 kN on each line the force off the quay is 120 kN, and when a line
// is lost the one beside it takes it all, 60 kN over a limit of 50; with 20 kN on
// each it is 40.
func TestWarnsWhileOneLineKeepsAnotherFromItsLimit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(3, 30, 30, 30, 30)
		if w := s.warning(); w != "" {
			t.Errorf("after 3 s: %s", w)
		}
		s.goOn(5, 30, 30, 30, 30)
		w := s.warning()
		if !strings.Contains(w, "over its working load limit of 50 kN") || !strings.Contains(w, "comes to 60 kN") || !strings.Contains(w, "parts, line") {
			t.Errorf("after 8 s: %q", w)
		}
		// The mean of a minute falls slowly: 40 s of 20 kN after 8 s of 30 make it 21.7,
		// which leaves 43 kN on the worst.
		s.goOn(15, 20, 20, 20, 20)
		if s.warning() == "" {
			t.Error("cleared within 15 s")
		}
		s.goOn(75, 20, 20, 20, 20)
		if w := s.warning(); w != "" {
			t.Errorf("a minute and a half later: %s", w)
		}
	})
}

// Line 4 parted at 20 kN and 3 holds its end. The mean of a minute still has 4 carry most
// of that, and it would be heaved in later as the slack one of its group.
func TestALineThatPartedHoldsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(30, 20, 20, 20, 20)
		err := s.log.Apply(t.Context(), "hand", 1, []detect.Change{{Time: time.Now().UnixNano(), Condition: detect.LineParted, Raised: true, Line: "4", Value: 20, Unit: "kN"}})
		if err != nil {
			t.Fatal(err)
		}
		s.goOn(2, 20, 20, 40, 0)
		ask := &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: "hand"}, Tending: true, Ahead: &hawserv1.HoursAhead{Hours: 1}}
		service := reckon.NewService(s.reckoner, nil)
		got, err := service.Assess(t.Context(), ask)
		if err != nil {
			t.Fatal(err)
		}
		if kN := got.Lines[3].TensionKn; kN != 0 || len(got.Losses) != 3 {
			t.Errorf("line 4 carries %g kN, and of %d lines the loss is told", kN, len(got.Losses))
		}
		for _, a := range got.Actions {
			if a.Line == "4" {
				t.Errorf("line 4 is to be worked: %v", a)
			}
		}
		for _, span := range got.Tend {
			if span.Line == "4" {
				t.Errorf("line 4 is to be tended: %v", span)
			}
		}
		live, err := service.ListLosses(t.Context(), &hawserv1.ListLossesRequest{})
		if err != nil || len(live.Berths) != 1 || len(live.Berths[0].Losses) != 3 {
			t.Errorf("of each line: %v, %v", live, err)
		}
		// Who gives its load says that it holds.
		ask.Loads = []*hawserv1.MeasuredLoad{{Line: "4", TensionKn: 15}}
		if got, err = service.Assess(t.Context(), ask); err != nil || len(got.Losses) != 4 {
			t.Errorf("with its load given: %v", err)
		}
	})
}

func TestWarningEndsWhenTheShipLeaves(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		for _, leaving := range []detect.Operating{detect.StoodDown, detect.LinesMoved} {
			s.lies = detect.MadeFast
			s.goOn(8, 30, 30, 30, 30)
			if s.warning() == "" {
				t.Fatal("no warning")
			}
			s.lies = leaving
			s.goOn(2, 30, 30, 30, 30)
			if w := s.warning(); w != "" {
				t.Errorf("leaving, %v: %s", leaving, w)
			}
		}
	})
}

// A line over its limit as she lies is told for itself, and silence is no sign that
// a warning is over.
func TestWarningStandsThroughSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(8, 30, 30, 30, 30)
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		if s.warning() == "" {
			t.Error("the warning went with the readings")
		}
	})
}

// Two of four loads are enough to reckon from; one is not.
func TestWantsHalfOfTheLoads(t *testing.T) {
	for known, want := range map[int]bool{1: false, 2: true} {
		synctest.Test(t, func(t *testing.T) {
			s := start(t, fourAbreast("hand"))
			defer s.stop()
			s.goOn(8, []float64{30, 30}[:known]...)
			if got := s.warning() != ""; got != want {
				t.Errorf("%d loads known: warning %v, want %v", known, got, want)
			}
		})
	}
}

func BenchmarkRoundOf50Berths(b *testing.B) {
	board, err := live.New(live.Options{Registerer: prometheus.NewRegistry()})
	if err != nil {
		b.Fatal(err)
	}
	plan := carrier(b)
	plan.Lines = plan.Lines[2:18]
	var berths []string
	for k := range 50 {
		berths = append(berths, fmt.Sprint("berth-", k))
		board.SetPlan(berths[k], plan)
	}
	r, err := reckon.New(reckon.Options{Board: board, Berths: func() []string { return berths }, Alarms: nobody{},
		Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()})
	if err != nil {
		b.Fatal(err)
	}
	at := time.Now()
	for b.Loop() {
		b.StopTimer()
		at = at.Add(time.Second)
		block := &reading.Block{}
		for i := range plan.Lines {
			block.Series = append(block.Series, reading.Series{Channel: reading.Channel{Line: plan.Lines[i].ID, Kind: reading.Tension},
				Time: []int64{at.UnixNano()}, Value: []float64{150 + float64(i)}})
		}
		for _, name := range berths {
			board.Update(name, time.Now(), block)
		}
		b.StartTimer()
		if err := r.Round(b.Context(), at); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)*100, "%core")
}

// nobody takes no warnings.
type nobody struct{}

func (nobody) RaiseOwn(context.Context, alarm.Own) error      { return nil }
func (nobody) ClearOwn(context.Context, string, string) error { return nil }
func (nobody) List(string, bool) ([]alarm.State, uint64)      { return nil, 0 }

// The ship moved as if one of a group had let go, and all there have load pins, 3's at
// fault: it is left out until it is said to hold.
func TestALineWithABadPinThatMayHavePartedHoldsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(30, 20, 20, 20, 20)
		at := time.Now().UnixNano()
		err := s.log.Apply(t.Context(), "hand", 1, []detect.Change{
			{Time: at, Condition: detect.SensorFault, Raised: true, Line: "3"},
			{Time: at, Condition: detect.Redistribution, Raised: true, Group: mooring.FwdBreast}})
		if err != nil {
			t.Fatal(err)
		}
		lost := func() (lines []string) {
			s.goOn(2, 20, 20, 20, 20)
			for _, b := range s.reckoner.Losses("hand") {
				for _, l := range b.Losses {
					lines = append(lines, l.Lost...)
				}
			}
			slices.Sort(lines)
			return lines
		}
		if got := lost(); !slices.Equal(got, []string{"1", "2", "4"}) {
			t.Errorf("the loss is reckoned of %q", got)
		}
		standing, _ := s.log.List("hand", false)
		for i := range standing {
			if alarm.Latching(standing[i].Condition) {
				_, err = s.log.Reset(t.Context(), standing[i].ID, alarm.Person{By: "mate"}, "found holding")
			}
		}
		if got := lost(); err != nil || len(got) != 4 {
			t.Errorf("once it is said to hold, the loss is reckoned of %q: %v", got, err)
		}
	})
}
