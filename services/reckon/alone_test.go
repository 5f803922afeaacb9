package reckon_test

import (
	"maps"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/reckon"
)

// tending is what is answered now, and the lines that are to be worked.
func (s *station) tending() (*hawserv1.AssessResponse, []string) {
	s.t.Helper()
	got, err := reckon.NewService(s.reckoner, nil).Assess(s.t.Context(),
		&hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: "hand"}, Tending: true})
	if err != nil {
		s.t.Fatal(err)
	}
	var worked []string
	for _, a := range got.Actions {
		worked = append(worked, a.Line)
	}
	return got, worked
}

// tell has the detectors raise or clear something of a line, or of the lines' group for "".
func (s *station) tell(c detect.Condition, line string, raised bool) {
	s.t.Helper()
	s.told++
	change := detect.Change{Time: time.Now().UnixNano(), Condition: c, Raised: raised, Line: line, Group: mooring.FwdBreast}
	if err := s.log.Apply(s.t.Context(), "hand", s.told, []detect.Change{change}); err != nil {
		s.t.Fatal(err)
	}
}

func leftAlone(got *hawserv1.AssessResponse) map[string]hawserv1.LeftAlone_Reason {
	out := map[string]hawserv1.LeftAlone_Reason{}
	for _, l := range got.LeftAlone {
		out[l.Line] = l.Reason
	}
	return out
}

// Line 4 was told to have parted, and the mate says that it holds. What its pin then reads
// is to bear that out: nothing, and it may be taut with a pin that is dead, to be hove on
// until it parts.
func TestALineSaidToHoldIsNotHeavedByADeadPin(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(61, 25, 15, 40, 0)
		if _, worked := s.tending(); !slices.Contains(worked, "4") {
			t.Fatalf("with nothing told lines %q are worked: this is a test of nothing", worked)
		}
		s.tell(detect.LineParted, "4", true)
		all, _ := s.log.List("hand", false)
		at := slices.IndexFunc(all, func(a alarm.State) bool { return a.Condition == "line-parted" })
		if _, err := s.log.Reset(t.Context(), all[at].ID, alarm.Person{By: "mate"}, "found holding"); err != nil {
			t.Fatal(err)
		}
		if got, worked := s.tending(); slices.Contains(worked, "4") || leftAlone(got)["4"] != hawserv1.LeftAlone_REASON_SAID_TO_HOLD {
			t.Errorf("said to hold: %q are worked, left alone: %v", worked, got.LeftAlone)
		}
		s.goOn(61, 25, 15, 34, 6)
		if got, worked := s.tending(); !slices.Contains(worked, "4") || len(got.LeftAlone) > 0 {
			t.Errorf("with load on it: %q are worked, left alone: %v", worked, got.LeftAlone)
		}
	})
}

// Lines 2, 3 and 4 have no load pins and one of them has let go: 2 is taken for it, and the
// others, of which nobody knows better, are not to be worked.
func TestThoseThatMayHavePartedAreLeftAlone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		plan := fourAbreast("hand")
		for i := 1; i < 4; i++ {
			plan.Lines[i].Instrumented = false
		}
		s := start(t, plan)
		defer s.stop()
		s.goOn(61, 23)
		if got, _ := s.tending(); len(got.LeftAlone) > 0 {
			t.Errorf("with nothing told: %v", got.LeftAlone)
		}
		s.tell(detect.Redistribution, "", true)
		got, worked := s.tending()
		want := map[string]hawserv1.LeftAlone_Reason{"3": hawserv1.LeftAlone_REASON_MAY_HAVE_PARTED, "4": hawserv1.LeftAlone_REASON_MAY_HAVE_PARTED}
		if !maps.Equal(leftAlone(got), want) || slices.ContainsFunc(worked, func(id string) bool { return id != "1" }) || got.Lines[1].TensionKn != 0 {
			t.Errorf("lines %q are worked, left alone: %v, carried: %v", worked, got.LeftAlone, got.Lines)
		}
	})
}

// The pin of line 4 stands at 1 kN while it carries what the others do: by that number it
// would be hove in, and what it takes of the force would be somebody else's.
func TestNothingIsReckonedFromAPinAtFault(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(61, 20, 20, 20, 1)
		got, worked := s.tending()
		if !slices.Contains(worked, "4") || got.MeasuredLines != 4 {
			t.Fatalf("with nothing told lines %q are worked, of %d measured: this is a test of nothing", worked, got.MeasuredLines)
		}
		s.tell(detect.SensorFault, "4", true)
		got, worked = s.tending()
		if slices.Contains(worked, "4") || leftAlone(got)["4"] != hawserv1.LeftAlone_REASON_PIN_AT_FAULT || got.MeasuredLines != 3 {
			t.Errorf("at fault: %q are worked, of %d measured, left alone: %v", worked, got.MeasuredLines, got.LeftAlone)
		}
		// By hand: its like beside it carries 20 kN, and the ship lies square.
		if kN := got.Lines[3].TensionKn; kN < 15 || kN > 25 {
			t.Errorf("it is reckoned to carry %.1f kN", kN)
		}
		s.tell(detect.SensorFault, "4", false)
		if got, _ = s.tending(); got.MeasuredLines != 4 || len(got.LeftAlone) > 0 {
			t.Errorf("in order again: %d measured, left alone: %v", got.MeasuredLines, got.LeftAlone)
		}
	})
}
