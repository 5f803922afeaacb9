package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"hawser/ingest/simulate"
	"hawser/services/waittest"
)

// Two gateways send half of the load pins each. The server is killed, and started again
// when both have much to send again: whichever comes back first, no reading of the
// other is too late to be watched.
func TestGatewaysCatchUpSideBySide(t *testing.T) {
	t.Parallel()
	path := record(t, "coaster-8", 34, func(s *simulate.Story) { s.Events = nil })
	data := t.TempDir()
	s := startServe(t, data, "--plan", planFile("coaster-8"))
	half := func(lines string) string {
		return part(t, path, func(_ int, channel string) bool {
			line, _, ofLine := strings.Cut(channel, "/")
			return ofLine && strings.Contains(lines, line)
		})
	}
	bow, stern := startCuttingLine(t, s.grpc, 0), startCuttingLine(t, s.grpc, 0)
	args := []string{"send", "--plan", planFile("coaster-8"), "--pace", "10"}
	bowSent := startHawser(t, append(args, "--to", bow.addr, "--source", "bow", half("1 2 3 4"))...)
	sternSent := startHawser(t, append(args, "--to", stern.addr, "--source", "stern", half("5 6 7 8"))...)
	berth := berthOf(t, "coaster-8")
	late := func() float64 {
		return s.metric(fmt.Sprintf("hawser_watch_unused_samples_total{berth=%q,reason=\"late\"}", berth))
	}
	s.watched(berth, 60)
	before := late() // whoever began first
	stern.to("")     // held, so that it is back second, and at once when it may be
	s.kill()
	s = startServe(t, data)
	bow.to(s.grpc)
	waittest.Until(t, "the first gateway to be back", func() error {
		if n := s.metric("hawser_intake_streams"); n != 1 {
			return fmt.Errorf("%g streams", n)
		}
		return nil
	})
	time.Sleep(time.Second) // far within its patience; without it, ten of recorded time go by
	stern.to(s.grpc)
	bowSent()
	sternSent()
	s.watched(berth, 2*170)
	if n := late() - before; n != 0 {
		t.Errorf("%g readings came too late to be watched\n%s", n, s.stderr.String())
	}
	if told := s.onRecord(); len(told) != 0 {
		t.Errorf("told in quiet weather: %+v", told)
	}
}
