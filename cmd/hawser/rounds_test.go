package main

import (
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"hawser/ingest/simulate"
	hawserv1 "hawser/proto/hawser/v1"
)

// ofItself lists the server's alarms about itself, raised and cleared, in the
// order of its log.
func (s *server) ofItself() (out []string) {
	s.t.Helper()
	client := hawserv1.NewAlarmServiceClient(s.dial())
	list, err := client.ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{IncludeCleared: true})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, a := range slices.Backward(list.Alarms) {
		if a.Line != "" || a.Group != "" {
			continue
		}
		state := " active"
		if a.ClearedAt != nil {
			state = " cleared"
		}
		out = append(out, a.Berth+" "+a.Condition+state)
	}
	return out
}

// tells waits until the server's alarms about itself are these.
func (s *server) tells(want ...string) {
	s.t.Helper()
	waitFor(s.t, fmt.Sprintf("the server to tell %q", want), func() error {
		if got := s.ofItself(); !slices.Equal(got, want) {
			return fmt.Errorf("it tells %q", got)
		}
		return nil
	})
}

// A berth whose source ends is told as silent, stays so while the server is killed
// and started again, and is well again some seconds after data return.
func TestSilentBerth(t *testing.T) {
	t.Parallel()
	const silent = "north-jetty-1 berth-silent"
	path := record(t, "tanker-12", 12, nil)
	data := t.TempDir()
	s := startServe(t, data, "--silent-after", "2s", "--plan", planFile("tanker-12"), "--plan", planFile("coaster-8"))
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, path)
	s.tells(silent + " active")
	if page, err := s.get("/"); err != nil || !strings.Contains(page, "Berth silent") || !strings.Contains(page, "No readings have come in") {
		t.Errorf("page: %v\n%s", err, page)
	}
	s.kill()

	s = startServe(t, data, "--silent-after", "2s")
	s.tells(silent + " active")
	later := record(t, "tanker-12", 13, func(s *simulate.Story) { s.Start = s.Start.Add(time.Hour) })
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--pace", "20", later)
	s.tells(silent+" cleared", silent+" active") // and silent again at its end
}

// A berth whose plan on record is damaged does not keep the others from being
// watched, is told, and is well when it is put under its plan again.
func TestDamagedPlan(t *testing.T) {
	t.Parallel()
	const damaged = "north-jetty-1 plan-damaged"
	cfg := defaultConfig()
	cfg.Data, cfg.HTTP, cfg.GRPC = t.TempDir(), "127.0.0.1:0", "127.0.0.1:0"
	cfg.Plans = []string{planFile("tanker-12"), planFile("coaster-8")}
	st, err := openStation(t.Context(), cfg, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	e, _ := st.book.Current("north-jetty-1")
	if err := st.journal.Put(t.Context(), "plans", "north-jetty-1_"+e.Fingerprint, []byte("no plan")); err != nil {
		t.Fatal(err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}

	s := startServe(t, cfg.Data)
	s.tells(damaged + " active")
	path := record(t, "coaster-8", 14, nil)
	_, batches := inRecording(t, path)
	hawser(t, "send", "--plan", planFile("coaster-8"), "--to", s.grpc, path)
	s.watched(berthOf(t, "coaster-8"), float64(batches))
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, record(t, "tanker-12", 15, nil))
	waitFor(t, "the plan to be well", func() error {
		if got := s.ofItself(); !slices.Contains(got, damaged+" cleared") || slices.Contains(got, damaged+" active") {
			return fmt.Errorf("%q", got)
		}
		return nil
	})
}
