package web_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/services/alarm"
	"hawser/services/web"
)

// Who takes the watch over reads what was raised while they were away, what was done
// about it and by whom, what stands, and what is kept quiet until when.
func TestLogOfTheWatchBefore(t *testing.T) {
	s := newStation(t, nil)
	ctx := t.Context()
	bosun := alarm.Person{By: "Bosun <of the watch>", Side: alarm.Ship}
	slack := s.raise("east-3", 1, detect.SlackLine, "1", "Line 1 is slack.") // 05:00
	s.clock.Move(95 * time.Second)
	_, err := s.alarms.Acknowledge(ctx, slack, bosun, "sent two hands")
	must(t, err)
	s.clock.Move(10*time.Minute - 95*time.Second)
	must(t, s.alarms.Apply(ctx, "east-3", 2, []detect.Change{{Time: s.clock.Now().UnixNano(), Condition: detect.SlackLine, Line: "1", Group: mooring.Head, Detail: "Line 1 carries 40 kN again."}}))
	over := s.raise("west-1", 1, detect.OverLimit, "2", "Line 2 over.") // 05:10, and on
	_, err = s.alarms.WriteNote(ctx, over, alarm.Person{By: "A. Alder"}, "tug called")
	must(t, err)
	fault := s.raise("west-1", 2, detect.SensorFault, "3", "The load pin of line 3 sticks.")
	_, err = s.alarms.Shelve(ctx, fault, alarm.Person{By: "A. Alder"}, "pin on order", time.Hour)
	must(t, err)

	resp, page := s.get("/log")
	if resp.StatusCode != http.StatusOK {
		t.Fatalf("answer %d", resp.StatusCode)
	}
	says(t, page, "What has happened 2026-02-28 17:10:00 UTC – 2026-03-01 05:10:00 UTC : alarms raised: 3; standing now: 2.",
		"Sensor fault Line 3, head line · west-1: shelved until 2026-03-01 06:10:00 UTC , by A. Alder: pin on order",
		"2026-03-01 05:10:00 UTC west-1 Alarm: Over limit Line 2, head line Line 2 over. A. Alder, the terminal: tug called by nobody 0 s Active, not acknowledged",
		"2026-03-01 05:00:00 UTC east-3 Warning: Slack line Line 1, head line Line 1 is slack. Returned to normal: Line 1 carries 40 kN again. Bosun <of the watch> for the ship, after 1 min 35 s: sent two hands 10 min Returned to normal")
	if strings.Contains(page, "<of the watch>") {
		t.Error("a name is parsed as markup")
	}

	_, page = s.get("/log?berth=east-3")
	says(t, page, "What has happened at east-3", "alarms raised: 1; standing now: 0.", "Slack line")
	if strings.Contains(text(page), "west-1") {
		t.Error("another berth's alarms are there")
	}
	// A day on, what was over before is not of the last twelve hours; what stands is.
	s.clock.Move(24 * time.Hour)
	_, page = s.get("/log?period=12h&lang=de")
	says(t, page, "ausgelöste Alarme: 0; jetzt anstehend: 2.", "Über Grenzlast")
	if strings.Contains(text(page), "Line 1 is slack.") {
		t.Error("what was over the day before is there")
	}
	if _, page = s.get("/"); !strings.Contains(page, `href="/log"`) {
		t.Error("the first page does not lead there")
	}
	if resp, _ := s.get("/log?period=soon"); resp.StatusCode != http.StatusBadRequest {
		t.Errorf("a senseless period: %d", resp.StatusCode)
	}
}

// What a gateway told of after its link had been down stands where it happened, and for
// as long as it has.
func TestLogOfWhatWasToldLate(t *testing.T) {
	s := newStation(t, nil)
	s.clock.Move(10 * time.Minute) // 05:10
	s.raise("east-3", 1, detect.OverLimit, "1", "Line 1 over.")
	s.clock.Move(time.Minute)
	late := s.clock.Now().Add(-8 * time.Minute)
	must(t, s.alarms.Apply(t.Context(), "west-1", 1, []detect.Change{{Time: late.UnixNano(), Condition: detect.SlackLine, Raised: true, Line: "2", Group: mooring.Head, Detail: "Line 2 is slack."}}))
	_, page := s.get("/log")
	says(t, page, "2026-03-01 05:10:00 UTC east-3 Alarm: Over limit Line 1, head line Line 1 over. by nobody 1 min 0 s Active, not acknowledged "+
		"2026-03-01 05:03:00 UTC west-1 Warning: Slack line Line 2, head line Line 2 is slack. by nobody 8 min 0 s Active, not acknowledged")
}

// That no alarm is told of a berth that is mistyped says nothing of a ship.
func TestLogOfABerthThatIsNotHere(t *testing.T) {
	s := newStation(t, func(o *web.Options, _ *http.Server) { o.Performance = &measured{} })
	s.board.SetPlan("east-3", plan("east-3"))
	s.raise("west-1", 1, detect.OverLimit, "2", "Line 2 over.") // whose plan is gone
	for path, want := range map[string]int{"/log?berth=east-3": 200, "/log?berth=west-1": 200, "/log?berth=east-4": 404, "/performance?berth=east-3": 200, "/performance?berth=east-4": 404} {
		if resp, page := s.get(path); resp.StatusCode != want || want == 404 && !strings.Contains(page, "No berth east-4 is under watch here.") {
			t.Errorf("%s: %d", path, resp.StatusCode)
		}
	}
}

func TestLogOfAQuietWatch(t *testing.T) {
	s := newStation(t, nil)
	_, page := s.get("/log?period=4h")
	says(t, page, "alarms raised: 0; standing now: 0.", "No alarm was raised in that time, and none stands.")
}
