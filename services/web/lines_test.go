package web_test

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/web"
)

// records are what a line book would give, and what it was asked.
type records struct {
	asked *hawserv1.ListLinesRequest
	lines []*hawserv1.LineRecord
	err   error
}

func (r *records) ListLines(_ context.Context, req *hawserv1.ListLinesRequest) (*hawserv1.ListLinesResponse, error) {
	r.asked = req
	return &hawserv1.ListLinesResponse{Lines: r.lines, Caveats: []string{"Evidence, not permission."}, BatchesMissed: 3}, r.err
}

func recordOf(line, rope string, inUse bool) *hawserv1.LineRecord {
	at := timestamppb.New(time.Date(2026, 2, 27, 4, 30, 0, 0, time.UTC))
	return &hawserv1.LineRecord{Ship: "Heron & Sons", Berth: "east-3", Line: line, Rope: rope, Group: "head", Fitting: 1, InUse: inUse, Material: "hmpe", MblKn: 640,
		Stays: 4, HoursRead: 61, HoursUnderLoad: 60.25, HoursAboveWorkingLoad: 0.5, HoursInBand: []float64{20, 40, 0.25}, TimesAbove: []float64{120, 7},
		Cycles: 1234.5, CyclesAbove: []float64{90, 12, 3, 0, 0}, Slips: 1, Partings: 2, RenderedM: 1.14,
		Peaks: []*hawserv1.PeakLoad{{At: at, LoadKn: 352, ShareOfMbl: 0.55}}, FirstAt: at, LastAt: at,
		Miner:            &hawserv1.MinerSum{Sum: 0.00002, DesignFactor: 9, Curve: "a curve", Source: "a table", StandIn: true},
		RecentStays:      []*hawserv1.LineStay{{Berth: "west-1", FirstAt: at, LastAt: at}},
		RecentRenderings: []*hawserv1.Rendering{{At: at, Metres: 0.6}},
		Events:           []*hawserv1.RopeEvent{{Kind: hawserv1.RopeEventKind_ROPE_EVENT_KIND_END_FOR_ENDED, DoneAt: at, By: "Bosun", Note: "chafed <inboard>", HoursUnderLoad: 12}},
		Quality:          &hawserv1.DataQuality{Readings: 5000, GapHours: 1.5, Bad: 4, OutOfRange: 1, SensorFaultHours: 2}}
}

// The shore engineer reads of each line what it has been through, opens one, and
// finds there what was put on record about its rope.
func TestLinesPage(t *testing.T) {
	unread := &hawserv1.LineRecord{Ship: "Heron & Sons", Berth: "east-3", Line: "6", Group: "fwd-spring", InUse: true, Material: "hmpe", MblKn: 640, CyclesAbove: make([]float64, 5)}
	r := &records{lines: []*hawserv1.LineRecord{recordOf("1", "R-118", true), unread, recordOf("1", "R-90", false)}}
	s := newStation(t, func(o *web.Options, _ *http.Server) {
		o.Lines, o.Ships = r, func() []string { return []string{"Amber Sanderling", "Wren"} }
	})
	s.board.SetPlan("east-3", plan("east-3"))

	resp, page := s.get("/lines?berth=east-3")
	if resp.StatusCode != http.StatusOK || r.asked.Berth != "east-3" || r.asked.IncludeRetired {
		t.Fatalf("answer %d, asked %v", resp.StatusCode, r.asked)
	}
	says(t, page, "Service records of lines at east-3", "Heron & Sons · east-3",
		"1 head line R-118 hmpe 640 4 60.2 0.50 352 55\u00a0% 2026-02-27 04:30:00 UTC 1234 12 ~2.0e-05 Line parted 2× Brake slip 1× 1.14 gaps 1.5 h, 5 bad readings, pin at fault 2.0 h",
		"6 forward spring – hmpe 640 0 0.0 0.00 – 0 0 0 – 0.00 no readings",
		"1 head line · no longer in use R-90", "3 batches are in no record", "Evidence, not permission.")
	if _, page = s.get("/lines?berth=east-3&retired=true"); !r.asked.IncludeRetired || !strings.Contains(page, `href="/lines?berth=east-3"`) {
		t.Error("those no longer in use are not asked for, or there is no way back")
	}

	_, page = s.get("/lines?ship=Heron+%26+Sons&line=1&rope=R-118&fitting=1")
	if r.asked.Ship != "Heron & Sons" {
		t.Errorf("asked %v", r.asked)
	}
	says(t, page, "Line 1, head line · Heron & Sons", "R-118 · hmpe · MBL 640 kN", "Hours read 61.0",
		// By hand: tenths of MBL, and how often the load rose to the lower end of each.
		"0\u00a0% – 10\u00a0% 20.00 10\u00a0% – 20\u00a0% 40.00 120 20\u00a0% + 0.25 7", "≥ 10\u00a0% 12",
		"2026-02-27 04:30:00 UTC 352 55\u00a0%", "west-1 2026-02-27 04:30:00 UTC", "2026-02-27 04:30:00 UTC 0.60",
		"turned end for end: chafed <inboard> Bosun 12.0", "design factor of 9 of its curve the Miner sum is 1.8e-04")
	if !strings.Contains(page, `<rect width="50.00" height="10">`) { // 20 h of 40
		t.Error("no bar of half the length")
	}
	for path, want := range map[string]int{"/lines?ship=Heron+%26+Sons&line=77&fitting=1": 404, "/lines?berth=nowhere": 404} {
		if resp, _ := s.get(path); resp.StatusCode != want {
			t.Errorf("%s: %d, want %d", path, resp.StatusCode, want)
		}
	}
	r.err = status.Error(codes.Unavailable, "the disk is gone")
	resp, page = s.get("/lines")
	if resp.StatusCode != http.StatusServiceUnavailable || strings.Contains(page, "disk") {
		t.Errorf("records that cannot be read: %d", resp.StatusCode)
	}
	says(t, page, "The line records cannot be read now.")
	r.err, r.lines = nil, nil
	_, page = s.get("/lines?ship=Wren")
	says(t, page, "No line has a record of a ship named Wren.")
	// Ships that have sailed can be chosen, and found in any spelling of capitals.
	for _, want := range []string{`<option value="Amber Sanderling">`, `<option value="Wren">`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if s.get("/lines?ship=amber+sanderling"); r.asked.Ship != "Amber Sanderling" {
		t.Errorf("asked for %q", r.asked.Ship)
	}
	if _, page := s.get("/"); !strings.Contains(page, `href="/lines"`) {
		t.Error("the first page does not lead there")
	}
}
