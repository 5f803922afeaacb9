package alarm_test

import (
	"context"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// sight sees one berth since a time and signs for whoever it is.
type sight struct {
	berth string
	since time.Time
}

func (s sight) Sees(_ context.Context, berth string) (time.Time, bool) {
	return s.since, berth == s.berth
}

func (sight) Signed(_ context.Context, by string) (name, role string, ship bool) {
	return by + " (crew)", "acknowledge", true
}

// collected is a stream that keeps what it is sent and ends its call after one
// record of a kind.
type collected struct {
	grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]
	ctx  context.Context
	end  context.CancelFunc
	last string // id
	got  []string
}

func (c *collected) Context() context.Context { return c.ctx }

func (c *collected) Send(r *hawserv1.WatchAlarmsResponse) error {
	c.got = append(c.got, r.Record.AlarmId+" "+r.Record.Transition.String())
	if r.Record.AlarmId == c.last {
		c.end()
	}
	return nil
}

// Of a berth that a ship has just come to she is told what goes on record from
// then on, and not how what was raised before her ends.
func TestAlarmsSinceSheCame(t *testing.T) {
	now := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	o := options(&alarmtest.Records{})
	o.Now = func() time.Time { return now }
	l := open(t, o)
	raise := func(berth, line string, position uint64, raised bool) {
		t.Helper()
		must(t, l.Apply(t.Context(), berth, position, []detect.Change{change(detect.LineParted, line, raised, int(position))}))
	}
	raise("east-3", "1", 1, true)
	raise("west-1", "1", 2, true)
	must(t, l.RaiseOwn(t.Context(), alarm.Own{Condition: "journal-pressure", Priority: detect.Warning}))
	now = now.Add(time.Hour)
	came := now
	raise("east-3", "1", 3, false)
	raise("east-3", "2", 4, true)
	raise("west-1", "1", 5, false)
	raise("east-3", "2", 6, false)
	raise("east-3", "3", 7, true)

	service := alarm.NewService(l, sight{"east-3", came})
	list, err := service.ListAlarms(t.Context(), &hawserv1.ListAlarmsRequest{IncludeCleared: true, PageSize: 2})
	must(t, err)
	if len(list.Alarms) != 2 || list.Alarms[0].Line != "3" || list.Alarms[1].Line != "2" {
		t.Errorf("list: %v", list.Alarms)
	}
	ctx, end := context.WithTimeout(t.Context(), deadline)
	c := &collected{ctx: ctx, end: end, last: list.Alarms[0].AlarmId}
	if err := service.WatchAlarms(&hawserv1.WatchAlarmsRequest{}, c); status.Code(err) != codes.Canceled {
		t.Errorf("watch: %v", err)
	}
	second, third := list.Alarms[1].AlarmId, list.Alarms[0].AlarmId
	want := []string{second + " ALARM_TRANSITION_RAISED", second + " ALARM_TRANSITION_CLEARED", third + " ALARM_TRANSITION_RAISED"}
	if len(c.got) != 3 || c.got[0] != want[0] || c.got[1] != want[1] || c.got[2] != want[2] {
		t.Errorf("watched %q, want %q", c.got, want)
	}
	taken, err := service.AcknowledgeAlarm(t.Context(), &hawserv1.AcknowledgeAlarmRequest{AlarmId: third, By: "Bosun", Side: hawserv1.AlarmSide_ALARM_SIDE_TERMINAL})
	must(t, err)
	// Neither role nor side is the caller's to say.
	if a := taken.Alarm.Acknowledgements; len(a) != 1 || a[0].By != "Bosun (crew)" || a[0].Role != "acknowledge" || a[0].Side != hawserv1.AlarmSide_ALARM_SIDE_SHIP {
		t.Errorf("acknowledged: %v", a)
	}
}
