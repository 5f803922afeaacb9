package reckon_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
	"hawser/services/reckon"
)

func loadPlan(t testing.TB, name string) (*mooring.Plan, *hawserv1.MooringPlan) {
	t.Helper()
	p, m, err := planfile.Load(filepath.Join("..", "..", "testdata", "plans", name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return p, m
}

func carrier(t testing.TB) *mooring.Plan {
	p, _ := loadPlan(t, "carrier-20")
	return p
}

// serve is the service on a real listener, with one berth that sends these loads.
func serve(t *testing.T, plan *mooring.Plan, loads map[string]float64, access live.Access) (hawserv1.AssessServiceClient, *reckon.Reckoner) {
	t.Helper()
	board, err := live.New(live.Options{Registerer: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	board.SetPlan(plan.Berth, plan)
	now := time.Now()
	b := &reading.Block{Sequence: 1}
	for id, kN := range loads {
		b.Series = append(b.Series, reading.Series{Channel: reading.Channel{Line: id, Kind: reading.Tension}, Time: []int64{now.UnixNano()}, Value: []float64{kN}})
	}
	for k, v := range map[reading.Kind]float64{reading.WindSpeed: 9, reading.WindDirection: 70, reading.WaterLevel: 3} {
		b.Series = append(b.Series, reading.Series{Channel: reading.Channel{Kind: k}, Time: []int64{now.UnixNano()}, Value: []float64{v}})
	}
	board.Update(plan.Berth, now, b)
	r, err := reckon.New(reckon.Options{Board: board, Berths: func() []string { return []string{plan.Berth} }, Alarms: nobody{},
		Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	srv := grpc.NewServer()
	reckon.NewService(r, access).Register(srv)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- srv.Serve(l) }()
	conn, err := grpc.NewClient(l.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = conn.Close()
		srv.Stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return hawserv1.NewAssessServiceClient(conn), r
}

func TestAssessAPlan(t *testing.T) {
	p, m := loadPlan(t, "tanker-12")
	client, _ := serve(t, p, nil, nil)
	resp, err := client.Assess(t.Context(), &hawserv1.AssessRequest{
		Mooring: &hawserv1.AssessRequest_Plan{Plan: m}, Wind: &hawserv1.Wind{SpeedMps: 16, FromDeg: 75},
		Current: &hawserv1.Current{SpeedMps: 0.5, SetDeg: 10}, WaterLevelM: proto.Float64(3.1), WindDirections: 8, Tending: true,
		Ahead: &hawserv1.HoursAhead{From: timestamppb.New(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)), Hours: 2,
			Cargo: []*hawserv1.DraftsAt{{Time: timestamppb.New(time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)), DraftFwdM: 8, DraftAftM: 9}}}})
	if err != nil {
		t.Fatal(err)
	}
	c := assess.Conditions{WindMS: 16, WindFromDeg: 75, CurrentMS: 0.5, CurrentSetDeg: 10}
	assess.Waters{LevelM: 3.1, DraftFwdM: 8.4, DraftAftM: 9.2}.Put(&c, p)
	mo := assess.New(p)
	s, err := mo.Steady(c)
	if err != nil {
		t.Fatal(err)
	}
	if !resp.Converged || resp.MeasuredLines != 0 || len(resp.Losses) != 12 || len(resp.WindLimits) != 8 || resp.Settles == nil || len(resp.Ahead) != 25 {
		t.Fatalf("%d losses, %d directions, %d moments: %v", len(resp.Losses), len(resp.WindLimits), len(resp.Ahead), resp.Converged)
	}
	for i, l := range resp.Lines {
		if l.Line != p.Lines[i].ID || math.Abs(l.TensionKn-s.TensionKN[i]) > 1e-6 || l.Limit != hawserv1.LoadLimit_LOAD_LIMIT_BELOW {
			t.Errorf("line %v, want %g kN", l, s.TensionKN[i])
		}
	}
	// Now the tide is at the level given; two hours on the loads are those of the
	// level and drafts then.
	if first := resp.Ahead[0]; math.Abs(first.WaterLevelM-3.1) > 1e-9 {
		t.Errorf("the hours ahead begin at %g m", first.WaterLevelM)
	}
	last := resp.Ahead[24]
	assess.Waters{LevelM: last.WaterLevelM, DraftFwdM: 8, DraftAftM: 9}.Put(&c, p)
	if s, err = mo.Steady(c); err != nil {
		t.Fatal(err)
	}
	for i, kN := range s.TensionKN {
		if math.Abs(last.TensionKn[i]-kN) > 1e-3 {
			t.Errorf("two hours ahead line %s: %g kN, want %g", p.Lines[i].ID, last.TensionKn[i], kN)
		}
	}
}

func TestAssessABerthAsItIs(t *testing.T) {
	p, _ := loadPlan(t, "tanker-12")
	loads := map[string]float64{"1": 90, "2": 95, "3": 140, "4": 150, "5": 80, "7": 85, "9": 120, "12": 100}
	client, r := serve(t, p, loads, nil)
	resp, err := client.Assess(t.Context(), &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: p.Berth},
		Loads: []*hawserv1.MeasuredLoad{{Line: "9", TensionKn: 60}}, Without: []string{"3", "4"}})
	if err != nil {
		t.Fatal(err)
	}
	loads["9"] = 60
	for _, l := range resp.Lines {
		if want, ok := loads[l.Line]; ok && math.Abs(l.TensionKn-want) > 0.01 {
			t.Errorf("line %s: %g kN, measured %g", l.Line, l.TensionKn, want)
		}
	}
	if resp.MeasuredLines != 8 || resp.Wind.SpeedMps != 9 || resp.WaterLevelM != 3 || len(resp.Losses) != 1 || len(resp.Losses[0].Lost) != 2 {
		t.Errorf("%d measured, wind %v, level %g, losses %v", resp.MeasuredLines, resp.Wind, resp.WaterLevelM, resp.Losses)
	}
	if err := r.Round(t.Context(), time.Now()); err != nil {
		t.Fatal(err)
	}
	list, err := client.ListLosses(t.Context(), &hawserv1.ListLossesRequest{})
	if err != nil || len(list.Berths) != 1 || len(list.Berths[0].Losses) != 12 || list.Berths[0].Losses[0].Worst.TensionKn < 150 {
		t.Errorf("%v, %v", list, err)
	}
	other, err := client.ListLosses(t.Context(), &hawserv1.ListLossesRequest{Berth: "elsewhere"})
	if err != nil || len(other.Berths) != 0 {
		t.Errorf("%v, %v", other, err)
	}
}

// The loads that a mooring has in one wind and water tell its lines, so that it has in
// another what its plan says. Were the loads taken for those of the wind asked for, a
// storm would be answered with the loads of a breeze.
func TestAssessABerthInAnotherWind(t *testing.T) {
	p, _ := loadPlan(t, "tanker-12")
	mo := assess.New(p)
	at := func(wind, from, level float64) assess.State {
		c := assess.Conditions{WindMS: wind, WindFromDeg: from}
		assess.Waters{LevelM: level, DraftFwdM: p.Reference.DraftFwdM, DraftAftM: p.Reference.DraftAftM}.Put(&c, p)
		s, err := mo.Steady(c)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	loads := map[string]float64{}
	for i, kN := range at(9, 70, 3).TensionKN { // what serve sends beside
		loads[p.Lines[i].ID] = kN
	}
	client, _ := serve(t, p, loads, nil)
	resp, err := client.Assess(t.Context(), &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: p.Berth},
		Wind: &hawserv1.Wind{SpeedMps: 18, FromDeg: 48}, WaterLevelM: proto.Float64(1)})
	if err != nil {
		t.Fatal(err)
	}
	if u := resp.Unexplained; math.Hypot(u.SurgeKn, u.SwayKn) > 1 || resp.Wind.SpeedMps != 18 || resp.WaterLevelM != 1 {
		t.Errorf("unexplained %v, wind %v, level %g", u, resp.Wind, resp.WaterLevelM)
	}
	for i, want := range at(18, 48, 1).TensionKN {
		if got := resp.Lines[i].TensionKn; math.Abs(got-want) > 1 {
			t.Errorf("line %s: %.1f kN, by its plan %.1f", p.Lines[i].ID, got, want)
		}
	}
}

// ashore sees no ship.
type ashore struct{}

func (ashore) SeesShip(context.Context, string, string) bool { return false }

func TestWhoMayNotSeeTheShipIsToldNothing(t *testing.T) {
	p, _ := loadPlan(t, "tanker-12")
	client, r := serve(t, p, map[string]float64{"1": 90, "2": 95, "3": 140, "4": 150, "5": 80, "7": 85}, ashore{})
	if err := r.Round(t.Context(), time.Now()); err != nil {
		t.Fatal(err)
	}
	list, err := client.ListLosses(t.Context(), &hawserv1.ListLossesRequest{})
	if err != nil || len(list.Berths) != 0 {
		t.Errorf("%v, %v", list, err)
	}
	if _, err := client.Assess(t.Context(), &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: p.Berth}}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("got %v", err)
	}
}

func TestBadQuestionsAreTold(t *testing.T) {
	p, m := loadPlan(t, "tanker-12")
	client, _ := serve(t, p, nil, nil)
	at := timestamppb.New(time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC))
	for _, c := range []struct {
		name   string
		change func(*hawserv1.AssessRequest)
		code   codes.Code
		want   string
	}{
		{"no mooring", func(r *hawserv1.AssessRequest) { r.Mooring = nil }, codes.InvalidArgument, "mooring"},
		{"berth of no name", func(r *hawserv1.AssessRequest) { r.Mooring = &hawserv1.AssessRequest_Berth{Berth: "A B"} }, codes.InvalidArgument, "berth"},
		{"berth that is not here", func(r *hawserv1.AssessRequest) { r.Mooring = &hawserv1.AssessRequest_Berth{Berth: "elsewhere"} }, codes.FailedPrecondition, "berth elsewhere is not live"},
		{"plan with a fault", func(r *hawserv1.AssessRequest) { r.GetPlan().Lines[2].MblKn = -1 }, codes.InvalidArgument, "lines[2].mbl"},
		{"load of an unknown line", func(r *hawserv1.AssessRequest) { r.Loads = []*hawserv1.MeasuredLoad{{Line: "99"}} }, codes.InvalidArgument, `loads[0]: the plan has no line "99"`},
		{"load that is no number", func(r *hawserv1.AssessRequest) {
			r.Loads = []*hawserv1.MeasuredLoad{{Line: "1", TensionKn: math.NaN()}}
		}, codes.InvalidArgument, "loads[0].tension_kn"},
		{"wind too strong", func(r *hawserv1.AssessRequest) { r.Wind = &hawserv1.Wind{SpeedMps: 200} }, codes.InvalidArgument, "wind.speed_mps"},
		{"without an unknown line", func(r *hawserv1.AssessRequest) { r.Without = []string{"1", "99"} }, codes.InvalidArgument, `without[1]: the plan has no line "99"`},
		{"without a line twice", func(r *hawserv1.AssessRequest) { r.Without = []string{"1", "1"} }, codes.InvalidArgument, "without"},
		{"too many directions", func(r *hawserv1.AssessRequest) { r.WindDirections = 1000 }, codes.InvalidArgument, "wind_directions"},
		{"hours without end", func(r *hawserv1.AssessRequest) { r.Ahead = &hawserv1.HoursAhead{Hours: math.Inf(1)} }, codes.InvalidArgument, "ahead.hours"},
		{"cargo out of order", func(r *hawserv1.AssessRequest) {
			r.Ahead = &hawserv1.HoursAhead{Hours: 1, Cargo: []*hawserv1.DraftsAt{{Time: at, DraftFwdM: 8, DraftAftM: 8}, {Time: at, DraftFwdM: 8, DraftAftM: 8}}}
		}, codes.InvalidArgument, "ahead.cargo[1].time"},
	} {
		t.Run(c.name, func(t *testing.T) {
			req := &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Plan{Plan: proto.CloneOf(m)}}
			c.change(req)
			_, err := client.Assess(t.Context(), req)
			if status.Code(err) != c.code || !strings.Contains(fmt.Sprint(err), c.want) {
				t.Errorf("got %v, want %s with %q", err, c.code, c.want)
			}
		})
	}
}
