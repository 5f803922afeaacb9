package reckon_test

import (
	"testing"
	"testing/synctest"
	"time"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/reckon"
)

// Line 4's brake let it run out and 3 holds their end: while that alarm stands, 3 is not
// to be eased to be even with it.
func TestWhatHoldsForALineThatSlippedIsNotEased(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, fourAbreast("hand"))
		defer s.stop()
		s.goOn(61, 20, 20, 34, 6)
		service := reckon.NewService(s.reckoner, nil)
		eased := func() bool {
			got, err := service.Assess(t.Context(), &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: "hand"}, Tending: true})
			if err != nil {
				t.Fatal(err)
			}
			for _, a := range got.Actions {
				if a.PayOutM > 0 {
					return true
				}
			}
			return false
		}
		if !eased() {
			t.Error("with nothing told nothing is eased: this is a test of nothing")
		}
		err := s.log.Apply(t.Context(), "hand", 1, []detect.Change{{Time: time.Now().UnixNano(), Condition: detect.BrakeSlip, Raised: true, Line: "4"}})
		if err != nil {
			t.Fatal(err)
		}
		if eased() {
			t.Error("with line 4 told to have slipped, a line is eased")
		}
	})
}
