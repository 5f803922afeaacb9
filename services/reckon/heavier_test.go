package reckon_test

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/reckon"
)

// ask asks of the berth as it is, with what to tend and an hour ahead.
func (s *station) ask() *hawserv1.AssessResponse {
	s.t.Helper()
	got, err := reckon.NewService(s.reckoner, nil).Assess(s.t.Context(), &hawserv1.AssessRequest{
		Mooring: &hawserv1.AssessRequest_Berth{Berth: "hand"}, Tending: true, Ahead: &hawserv1.HoursAhead{Hours: 1}})
	if err != nil {
		s.t.Fatal(err)
	}
	return got
}

// A gale gets up: 45 s of 20 kN on each of four like lines and 15 s of 40. By hand the
// loss of a line leaves the one beside it with 80 kN. By the mean of the minute, 25 kN
// each, it would be 50.
func TestALossInARisingGaleIsOfTheLoadsAsTheyAre(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(45, 20, 20, 20, 20)
		if got := s.ask(); got.LoadsOverSeconds != 60 || math.Abs(got.Losses[0].Worst.TensionKn-40) > 0.5 {
			t.Errorf("in the calm: of %d s, %v", got.LoadsOverSeconds, got.Losses[0])
		}
		s.goOn(15, 40, 40, 40, 40)
		got := s.ask()
		if got.LoadsOverSeconds != 15 || math.Abs(got.Losses[0].Worst.TensionKn-80) > 1 {
			t.Errorf("in the gale: of %d s, %v", got.LoadsOverSeconds, got.Losses[0])
		}
		// What is tended and foreseen is not of one gust: 25 kN each.
		if kN := got.Ahead[0].TensionKn[0]; math.Abs(kN-25) > 0.5 || got.Settles == nil || len(got.Actions) != 0 {
			t.Errorf("the hour ahead begins with %g kN; to tend: %v", kN, got.Actions)
		}
		if s.warning() == "" {
			t.Error("no warning")
		}
	})
}

// Line 4 carried 49 kN and has parted; its neighbour took 40 of what was 25. The mean of
// the minute of a line that is gone is no reason to keep to the minute: 3 had 28.75 kN in it.
func TestALossAfterAPartingIsOfTheLoadsSince(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(45, 20, 20, 25, 49)
		err := s.log.Apply(t.Context(), "hand", 1, []detect.Change{{Time: time.Now().UnixNano(), Condition: detect.LineParted, Raised: true, Line: "4", Value: 49, Unit: "kN"}})
		if err != nil {
			t.Fatal(err)
		}
		s.goOn(15, 20, 20, 40, 0)
		got := s.ask()
		if got.LoadsOverSeconds != 15 || math.Abs(got.Lines[2].TensionKn-40) > 0.5 || got.MeasuredLines != 3 {
			t.Errorf("of %d s, line 3 carries %g kN, %d lines measured", got.LoadsOverSeconds, got.Lines[2].TensionKn, got.MeasuredLines)
		}
	})
}

// A swell swings each load by a quarter of its mean in 10 s. The minute tells what the
// mooring bears.
func TestALossInASwellIsOfTheMinute(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		for k := range 75 {
			kN := 20 + 5*math.Sin(2*math.Pi*float64(k)/10)
			s.goOn(1, kN, kN, kN, kN)
			if got := s.ask(); k >= 60 && got.LoadsOverSeconds != 60 {
				t.Errorf("second %d: of %d s", k, got.LoadsOverSeconds)
			}
		}
	})
}

// Line 4 has no load pin and let go: 3 took its end. Until somebody has looked, nothing is
// reckoned that 4 would hold.
func TestALineThatMayHavePartedHoldsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		plan := fourAbreast("hand")
		plan.Lines[3].Instrumented = false
		plan.Lines[2].Group, plan.Lines[3].Group = mooring.AftBreast, mooring.AftBreast
		s := start(t, plan)
		defer s.stop()
		s.goOn(60, 20, 20, 20)
		if got := s.ask(); math.Abs(got.Lines[3].TensionKn-20) > 1 {
			t.Errorf("before, line 4 carries %g kN, by hand 20", got.Lines[3].TensionKn)
		}
		change := detect.Change{Time: time.Now().UnixNano(), Condition: detect.Redistribution, Raised: true, Group: mooring.AftBreast, Value: 20, Unit: "%"}
		if err := s.log.Apply(t.Context(), "hand", 1, []detect.Change{change}); err != nil {
			t.Fatal(err)
		}
		s.goOn(60, 20, 20, 40)
		got := s.ask()
		if got.Lines[3].TensionKn != 0 || got.MeasuredLines != 3 || len(got.Losses) != 3 {
			t.Errorf("line 4 carries %g kN, %d measured, of %d lines the loss is told", got.Lines[3].TensionKn, got.MeasuredLines, len(got.Losses))
		}
	})
}

// The ship is on fenders, and no berth tells the wind. By hand: lines of 40 kN where the
// plan sets 20 are not so by her fenders, so the loss of one leaves its 40 to the one
// beside it; were it a calm the fenders would bear that, and 40 be left.
func TestALossWhereTheBerthTellsNoWind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		plan := fourAbreast("hand")
		plan.Fenders = []mooring.Fender{{XM: -40, StiffnessKNPerM: 4000}, {XM: 40, StiffnessKNPerM: 4000}}
		s := start(t, plan)
		defer s.stop()
		s.goOn(60, 40, 40, 40, 40)
		got := s.ask()
		if got.Wind != nil || math.Abs(got.Losses[0].Worst.TensionKn-80) > 2 {
			t.Errorf("wind %v, %v", got.Wind, got.Losses[0].Worst)
		}
		list := s.reckoner.Losses("hand")
		if len(list) != 1 || math.Abs(list[0].Losses[0].Worst.TensionKn-80) > 2 {
			t.Errorf("of each line: %v", list)
		}
	})
}
