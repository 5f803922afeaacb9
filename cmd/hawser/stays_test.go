package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"hawser/detect/reading"
	"hawser/ingest/edge"
	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
	"hawser/services/stay"
	"hawser/services/waittest"
)

// staysOf asks a server for its stays.
func (s *server) staysOf(berth string) ([]stay.Stay, error) {
	body, err := s.get("/api/stays?berth=" + berth)
	if err != nil {
		return nil, err
	}
	var answer struct{ Stays []stay.Stay }
	err = json.Unmarshal([]byte(body), &answer)
	return answer.Stays, err
}

// Two ships after one another are two stays, and still the same two after the server
// was killed, and after both recordings were sent again.
func TestStaysOutliveTheServer(t *testing.T) {
	t.Parallel()
	first := record(t, "tanker-12", 7, func(s *simulate.Story) {
		s.Events = append(s.Events, simulate.Event{At: 150 * time.Second, Kind: simulate.StandDown, For: time.Hour})
	})
	second := record(t, "tanker-12", 8, func(s *simulate.Story) { s.Start = s.Start.Add(9 * time.Hour) })
	otherShip := changedPlan(t, "tanker-12", "Curlew")
	data := t.TempDir()
	s := startServe(t, data)
	send := func(s *server) {
		hawser(t, "send", "--replace-plan", "--plan", planFile("tanker-12"), "--to", s.grpc, first)
		hawser(t, "send", "--replace-plan", "--plan", otherShip, "--to", s.grpc, second)
	}
	send(s)
	begin := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	check := func(s *server) error {
		stays, err := s.staysOf("north-jetty-1")
		switch {
		case err != nil:
			return err
		case len(stays) != 2:
			return fmt.Errorf("%d stays: %+v", len(stays), stays)
		}
		a, b := stays[1], stays[0] // newest first
		switch {
		case a.Ship != northShip || !a.Arrival.Equal(begin) || !a.MadeFast.Equal(begin) || !a.LetGo.Equal(begin.Add(150*time.Second)):
			return fmt.Errorf("first stay: %+v", a)
		case a.Departure.Before(begin.Add(165*time.Second)) || a.Departure.After(begin.Add(170*time.Second)):
			return fmt.Errorf("left at %s", a.Departure)
		case b.Ship != "Curlew" || !b.Arrival.Equal(begin.Add(9*time.Hour)) || len(b.Plans) != 1 || b.Plans[0] == a.Plans[0]:
			return fmt.Errorf("second stay: %+v", b)
		}
		return nil
	}
	waittest.Until(t, "two stays", func() error { return check(s) })
	s.kill()
	s = startServe(t, data)
	waittest.Until(t, "two stays after a kill", func() error { return check(s) })
	if took, err := s.stop(); err != nil {
		t.Fatalf("stop after %s: %v", took, err)
	}
	s = startServe(t, data)
	waittest.Until(t, "two stays after a stop", func() error { return check(s) })
	send(s)
	waittest.Until(t, "two stays still", func() error { return check(s) })
}

// A ship's crew sees her own stays, also when another ship lies at the berth now;
// nobody else's.
func TestShipSeesHerOwnStays(t *testing.T) {
	s := startSecured(t, nil)
	conn := s.dial(s.tokens["administer"], false)
	for k, plan := range []string{planFile("tanker-12"), changedPlan(t, "tanker-12", "Curlew")} {
		_, message, err := planfile.Load(plan)
		if err != nil {
			t.Fatal(err)
		}
		load := simulate.NewLoad(12, 1, time.Date(2026, 3, 1+k, 4, 0, 0, 0, time.UTC))
		s.deliver(conn, load, edge.Options{Berth: northBerth, Source: fmt.Sprint("visit-", k), Plan: message, ReplacePlan: true})
	}
	ships := func(token string) string {
		var answer struct{ Stays []stay.Stay }
		_, body, _ := strings.Cut(s.get(token, "/api/stays"), "\n")
		if err := json.Unmarshal([]byte(body), &answer); err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, st := range answer.Stays {
			names = append(names, st.Ship)
		}
		return strings.Join(names, ",")
	}
	waittest.Until(t, "both stays", func() error {
		if got := ships("administer"); got != "Curlew,"+northShip {
			return fmt.Errorf("the site sees %q", got)
		}
		return nil
	})
	for who, want := range map[string]string{"crew of Curlew": "Curlew", "crew of " + northShip: northShip, "crew of " + townShip: ""} {
		if got := ships(who); got != want {
			t.Errorf("%s sees %q, want %q", who, got, want)
		}
	}
}

// deliver sends three seconds of readings.
func (s *secured) deliver(conn *grpc.ClientConn, load *simulate.Load, o edge.Options) {
	s.t.Helper()
	n := 0
	_, err := edge.Send(s.t.Context(), conn, func() (*reading.Block, error) {
		if n++; n > 3 {
			return nil, io.EOF
		}
		return load.Next(), nil
	}, o)
	if err != nil {
		s.t.Fatal(err)
	}
}
