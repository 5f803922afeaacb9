package main

import (
	"testing"

	hawserv1 "hawser/proto/hawser/v1"
)

// Two gateways send all load pins of a berth. One is killed: the watch goes on from the
// other, nothing is told of any line, and that gateway alone is told, until it sends
// again. Each reading is stored once, each alarm told once, as from one gateway.
func TestTwoGatewaysOfTheSameLoadPins(t *testing.T) {
	t.Parallel()
	path := record(t, "tanker-12", 33, nil)
	want := replayed(t, "tanker-12", path)
	sums, batches := inRecording(t, path)
	s := startServe(t, t.TempDir(), "--silent-after", "2s", "--plan", planFile("tanker-12"))
	args := func(source string) []string {
		return []string{"--plan", planFile("tanker-12"), "--to", s.grpc, "--source", source, "--pace", "8", path}
	}
	killBow := startSender(t, args("bow")...)
	stern := startHawser(t, append([]string{"send"}, args("stern")...)...)
	s.watched("north-jetty-1", 20)
	killBow()
	s.tells("gateway-silent", "active")
	list, err := hawserv1.NewAlarmServiceClient(s.dial()).ListAlarms(t.Context(), &hawserv1.ListAlarmsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range list.Alarms {
		if a.Condition == "gateway-silent" && (a.Source != "bow" || a.Berth != "north-jetty-1") || a.Condition == "pins-silent" {
			t.Errorf("told is %s of gateway %q at %q", a.Condition, a.Source, a.Berth)
		}
	}
	bow := startHawser(t, append([]string{"send"}, args("bow")...)...)
	stern()
	bow()
	s.tells("gateway-silent", "cleared")
	s.watched("north-jetty-1", float64(2*batches))
	compareTold(t, s.onRecord(), want)
	s.stored("north-jetty-1", sums)
}
