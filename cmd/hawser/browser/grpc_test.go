package browser_test

import (
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	hawserv1 "hawser/proto/hawser/v1"
)

// client is another program that knows the server's alarms.
func client(t testing.TB, s *server) hawserv1.AlarmServiceClient {
	t.Helper()
	conn, err := grpc.NewClient(s.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return hawserv1.NewAlarmServiceClient(conn)
}

func alarms(t testing.TB, s *server) []*hawserv1.Alarm {
	t.Helper()
	got, err := client(t, s).ListAlarms(t.Context(), &hawserv1.ListAlarmsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return got.Alarms
}

func acknowledge(t testing.TB, s *server, id, by string) {
	t.Helper()
	if _, err := client(t, s).AcknowledgeAlarm(t.Context(), &hawserv1.AcknowledgeAlarmRequest{AlarmId: id, By: by}); err != nil {
		t.Fatal(err)
	}
}
