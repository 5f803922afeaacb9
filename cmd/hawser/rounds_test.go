package main

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"hawser/ingest/simulate"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

// ofItself is what became of the server's alarms of a condition about itself, or
// its watch over a berth, oldest first: "active" or "cleared".
func (s *server) ofItself(condition string) (out []string) {
	s.t.Helper()
	client := hawserv1.NewAlarmServiceClient(s.dial())
	list, err := client.ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{IncludeCleared: true})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, a := range slices.Backward(list.Alarms) {
		switch {
		case a.Condition != condition:
		case a.ClearedAt != nil:
			out = append(out, "cleared")
		default:
			out = append(out, "active")
		}
	}
	return out
}

// tells waits until that is so.
func (s *server) tells(condition string, want ...string) {
	s.t.Helper()
	waittest.Until(s.t, fmt.Sprintf("%s to be %q", condition, want), func() error {
		if got := s.ofItself(condition); !slices.Equal(got, want) {
			return fmt.Errorf("it is %q", got)
		}
		return nil
	})
}

// A berth whose source ends is told as silent, stays so while the server is killed
// and started again, and is well again some seconds after data return.
func TestSilentBerth(t *testing.T) {
	t.Parallel()
	path := record(t, "tanker-12", 12, nil)
	data := t.TempDir()
	s := startServe(t, data, "--silent-after", "2s", "--plan", planFile("tanker-12"), "--plan", planFile("coaster-8"))
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, path)
	s.tells("berth-silent", "active")
	if page, err := s.get("/"); err != nil || !strings.Contains(page, "Berth silent") || !strings.Contains(page, "No readings have come in") {
		t.Errorf("page: %v\n%s", err, page)
	}
	list, err := hawserv1.NewLiveServiceClient(s.dial()).ListBerths(t.Context(), &hawserv1.ListBerthsRequest{Berth: "north-jetty-1"})
	if err != nil || len(list.Berths) != 1 || list.Berths[0].Live {
		t.Errorf("told as silent and shown as live: %v, %v", list, err)
	}
	s.kill()

	s = startServe(t, data, "--silent-after", "2s")
	s.tells("berth-silent", "active")
	later := record(t, "tanker-12", 13, func(s *simulate.Story) { s.Start = s.Start.Add(time.Hour) })
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--pace", "20", later)
	waittest.Until(t, "the berth to be silent again at the end", func() error {
		got := s.ofItself("berth-silent")
		if len(got) < 2 || got[0] != "cleared" || got[len(got)-1] != "active" {
			return fmt.Errorf("berth-silent is %q", got)
		}
		return nil
	})
}

// A berth whose plan on record is damaged does not keep the others from being
// watched, is told, and is well when it is put under its plan again.
func TestDamagedPlan(t *testing.T) {
	t.Parallel()
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
	s.tells("plan-damaged", "active")
	path := record(t, "coaster-8", 14, nil)
	_, batches := inRecording(t, path)
	hawser(t, "send", "--plan", planFile("coaster-8"), "--to", s.grpc, path)
	s.watched(berthOf(t, "coaster-8"), float64(batches))
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, record(t, "tanker-12", 15, nil))
	s.tells("plan-damaged", "cleared")
}

// A store that does not answer makes history late, and a source whose clock is
// minutes ahead is refused: both are told, and neither keeps a berth from being
// watched.
func TestStoreDownAndClockAhead(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 16, nil)
	s := startServe(t, t.TempDir(), "--store", "influxdb", "--influxdb-url", "http://127.0.0.1:1", "--influxdb-bucket", "moorings")
	r.send(t, s.grpc)
	s.watched(r.berth, float64(r.batches))
	compareTold(t, s.onRecord(), r.told)
	soon := time.Now().Add(5 * time.Minute).UTC().Format(time.RFC3339)
	code, _, errs := hawserCode(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--source", "fast", "--starting", soon, r.path)
	if code != exitFailed || !strings.Contains(errs, "send: the server refused ") {
		t.Errorf("sent ahead of the clock: exit code %d, %s", code, errs)
	}
	s.tells("history-late", "active")
	waittest.Until(t, "the clock to be told of", func() error {
		if s.ofItself("clock-ahead") == nil { // it may be over by now
			return errors.New("it is not")
		}
		return nil
	})
}
