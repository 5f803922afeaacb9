package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

// A server that hears a berth answers what its mooring bears as its loads are, and
// has what follows the loss of each line.
func TestServeReckonsABerth(t *testing.T) {
	s := startServe(t, t.TempDir(), "--plan", planFile("tanker-12"), "--store", "none")
	rec := filepath.Join(t.TempDir(), "rec.csv")
	var rows strings.Builder
	rows.WriteString("time,channel,value\n")
	for second := range 20 {
		for line := 1; line <= 12; line++ {
			fmt.Fprintf(&rows, "2026-03-01T04:00:%02dZ,%d/tension,%d\n", second, line, 100+line)
		}
		fmt.Fprintf(&rows, "2026-03-01T04:00:%02dZ,wind/speed,8\n2026-03-01T04:00:%02dZ,wind/direction,60\n", second, second)
	}
	if err := os.WriteFile(rec, []byte(rows.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, rec)

	client := hawserv1.NewAssessServiceClient(s.dial())
	waittest.Until(t, "the losses of the berth", func() error {
		list, err := client.ListLosses(t.Context(), &hawserv1.ListLossesRequest{Berth: "north-jetty-1"})
		if err != nil {
			return err
		}
		if len(list.Berths) != 1 || len(list.Berths[0].Losses) != 12 {
			return fmt.Errorf("%v", list)
		}
		return nil
	})
	resp, err := client.Assess(t.Context(), &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: "north-jetty-1"}, WindDirections: 4})
	if err != nil {
		t.Fatal(err)
	}
	if !resp.Converged || resp.MeasuredLines != 12 || resp.Wind.GetSpeedMps() != 8 || len(resp.WindLimits) != 4 {
		t.Errorf("%d lines measured, wind %v", resp.MeasuredLines, resp.Wind)
	}
	for i, l := range resp.Lines {
		if math.Abs(l.TensionKn-float64(101+i)) > 0.01 {
			t.Errorf("line %s: %g kN, measured %d", l.Line, l.TensionKn, 101+i)
		}
	}
	if s.metric(`hawser_berth_line_loss_working_load_ratio{berth="north-jetty-1"}`) <= 0 {
		t.Error("no metric of the worst loss")
	}
}
