package alarm_test

import (
	"context"
	"net"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// serve puts a log behind a real server and gives a client of it.
func serve(t *testing.T, l *alarm.Log) hawserv1.AlarmServiceClient {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	server := grpc.NewServer()
	alarm.NewService(l, nil).Register(server)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	must(t, err)
	t.Cleanup(func() {
		conn.Close()
		server.Stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	return hawserv1.NewAlarmServiceClient(conn)
}

func TestServiceListsWatchesAndTakesAcknowledgements(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	client := serve(t, l)
	ctx, cancel := context.WithTimeout(t.Context(), deadline)
	defer cancel()
	c := change(detect.LineParted, "4", true, 0)
	c.Onset, c.Limit, c.HasLimit = second(-2).UnixNano(), 320, true
	must(t, l.Apply(ctx, "east-3", 3, []detect.Change{c}))

	list, err := client.ListAlarms(ctx, &hawserv1.ListAlarmsRequest{})
	must(t, err)
	if len(list.Alarms) != 1 || list.Position != 1 {
		t.Fatalf("list: %v", list)
	}
	a := list.Alarms[0]
	if a.AlarmId != "east-3/line-parted/4/2026-03-01T04:05:06.700Z" || a.Priority != hawserv1.AlarmPriority_ALARM_PRIORITY_EMERGENCY ||
		a.Group != "fwd-breast" || a.GetValue() != 12.5 || a.GetLimit() != 320 || a.Unit != "kN" ||
		!a.RaisedAt.AsTime().Equal(second(0)) || !a.Onset.AsTime().Equal(second(-2)) || a.ClearedAt != nil || a.AcknowledgedAt != nil {
		t.Errorf("alarm: %v", a)
	}

	stream, err := client.WatchAlarms(ctx, &hawserv1.WatchAlarmsRequest{AfterPosition: list.Position})
	must(t, err)
	acked, err := client.AcknowledgeAlarm(ctx, &hawserv1.AcknowledgeAlarmRequest{AlarmId: a.AlarmId, By: "bosun", Note: "going"})
	must(t, err)
	if acked.Alarm.AcknowledgedBy != "bosun" || acked.Alarm.AcknowledgedAt == nil {
		t.Errorf("acknowledged: %v", acked)
	}
	got, err := stream.Recv()
	must(t, err)
	if r := got.Record; r.Position != 2 || r.Transition != hawserv1.AlarmTransition_ALARM_TRANSITION_ACKNOWLEDGED || r.By != "bosun" || r.Note != "going" {
		t.Errorf("record: %v", r)
	}

	_, err = client.AcknowledgeAlarm(ctx, &hawserv1.AcknowledgeAlarmRequest{AlarmId: a.AlarmId, By: "mate"})
	if status.Code(err) != codes.AlreadyExists || !strings.Contains(err.Error(), "bosun") {
		t.Errorf("second acknowledgement: %v", err)
	}
	must(t, l.Close())
	if _, err := stream.Recv(); status.Code(err) != codes.Unavailable {
		t.Errorf("stream after close: %v", err)
	}
}

func TestServiceRefuses(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	client := serve(t, l)
	ctx, cancel := context.WithTimeout(t.Context(), deadline)
	defer cancel()
	watch := func(req *hawserv1.WatchAlarmsRequest) error {
		stream, err := client.WatchAlarms(ctx, req)
		must(t, err)
		_, err = stream.Recv()
		return err
	}
	ack := func(req *hawserv1.AcknowledgeAlarmRequest) error {
		_, err := client.AcknowledgeAlarm(ctx, req)
		return err
	}
	list := func(req *hawserv1.ListAlarmsRequest) error {
		_, err := client.ListAlarms(ctx, req)
		return err
	}
	for name, row := range map[string]struct {
		err  error
		code codes.Code
		says string
	}{
		"berth with capitals":      {list(&hawserv1.ListAlarmsRequest{Berth: "EAST"}), codes.InvalidArgument, "berth"},
		"page too large":           {list(&hawserv1.ListAlarmsRequest{PageSize: 1001}), codes.InvalidArgument, "page_size"},
		"watch of no berth's name": {watch(&hawserv1.WatchAlarmsRequest{Berth: "a/b"}), codes.InvalidArgument, "berth"},
		"watch past the end":       {watch(&hawserv1.WatchAlarmsRequest{AfterPosition: 9}), codes.OutOfRange, "ends at 0"},
		"no name":                  {ack(&hawserv1.AcknowledgeAlarmRequest{AlarmId: "x"}), codes.InvalidArgument, "by"},
		"blank name":               {ack(&hawserv1.AcknowledgeAlarmRequest{AlarmId: "x", By: "  "}), codes.InvalidArgument, "name"},
		"unknown alarm":            {ack(&hawserv1.AcknowledgeAlarmRequest{AlarmId: "x", By: "mate"}), codes.NotFound, "no such alarm"},
	} {
		if status.Code(row.err) != row.code || !strings.Contains(row.err.Error(), row.says) {
			t.Errorf("%s: %v, want %v that says %q", name, row.err, row.code, row.says)
		}
	}
}

func TestPageIsCutAtTheWorst(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, []detect.Change{
		change(detect.SensorFault, "1", true, 0), change(detect.LineParted, "2", true, 0), change(detect.Imbalance, "3", true, 0)}))
	resp, err := alarm.NewService(l, nil).ListAlarms(t.Context(), &hawserv1.ListAlarmsRequest{PageSize: 2})
	must(t, err)
	if len(resp.Alarms) != 2 || resp.Alarms[0].Line != "2" || resp.Alarms[1].Line != "3" {
		t.Errorf("page: %v", resp.Alarms)
	}
}
