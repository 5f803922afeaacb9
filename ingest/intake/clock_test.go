package intake_test

import (
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"hawser/ingest/intake"
	"hawser/ingest/journal"
	hawserv1 "hawser/proto/hawser/v1"
)

// What was refused for its clock is listed with source and size, the newest of a
// berth, for as long as is asked.
func TestClocksAhead(t *testing.T) {
	r := newRig(t, nil)
	now := time.Unix(0, noon)
	began := now.Add(-time.Second)
	w, _ := r.open("bow")
	w.batch(marshal(1, column("1/tension", nil)))
	w.until(1)
	if got := r.server.ClocksAhead(began); got != nil {
		t.Errorf("all in time: %+v", got)
	}
	ahead := column("1/tension", func(c *hawserv1.Column) { c.BaseTimeUnixNano = noon + 180*second; c.PeriodTicks = 1500 })
	w.batch(marshal(2, ahead))
	w.next()
	w.until(2)
	want := []intake.ClockAhead{{Berth: berth, Source: "bow", By: 181500 * time.Millisecond, At: now}}
	if got := r.server.ClocksAhead(began); !slices.Equal(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if got := r.server.ClocksAhead(now); got != nil {
		t.Errorf("of before the time asked for: %+v", got)
	}
}

// Beside a gateway whose clock is the server's, one may be ahead no further than the
// watch can bear: readings come to it in their order of time and are late when they are
// reading.Lateness, 5 s, behind the newest, so that one by 4.5 s would make those late
// that come 1 s old. By itself, or beside others that are as far ahead, it is tolerated as
// it is: then the server's clock may be the wrong one.
func TestClockAheadOfAnotherGateway(t *testing.T) {
	const ahead = 45 * second / 10
	old := func(newest int64) []byte { return block(1, "1", newest-second, newest) }
	tests := []struct {
		name    string
		before  []journal.Entry // from before the server started
		other   []byte          // what another gateway sends first
		gone    time.Duration   // since when it has sent nothing
		by      int64
		refused bool
	}{
		{name: "alone", by: ahead},
		{name: "beside one that is right", other: old(noon), by: ahead, refused: true},
		{name: "no further than it can bear", other: old(noon), by: 39 * second / 10},
		{name: "beside one as far ahead", other: old(noon + ahead), by: ahead},
		{name: "beside one that catches up", other: old(noon - 60*second), by: ahead},
		{name: "beside one that sends seldom", other: block(1, "1", noon-4*second, noon), by: 24 * second / 10},
		{name: "while one that is right connects again", other: old(noon), gone: 59 * time.Second, by: ahead, refused: true},
		{name: "once one that was right is gone", other: old(noon), gone: time.Minute, by: ahead},
		{name: "before one that is to come back", by: ahead, refused: true,
			before: []journal.Entry{{Berth: berth, Source: "right", SourceSequence: 1, Stored: time.Unix(0, noon-second), Data: old(noon - second)}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var gone atomic.Int64
			r := newRig(t, func(o *intake.Options) { o.Now = func() time.Time { return time.Unix(0, noon+gone.Load()) } })
			r.journal.before = tt.before
			if tt.other != nil {
				w, _ := r.open("right")
				w.batch(tt.other)
				w.until(1)
			}
			gone.Store(int64(tt.gone))
			w, _ := r.open("fast")
			w.batch(block(1, "2", noon+gone.Load()+tt.by))
			if got := w.next().GetRefusal() != nil; got != tt.refused {
				t.Errorf("refused: %t, want %t", got, tt.refused)
			}
			told := r.server.ClocksAhead(time.Unix(0, noon-second))
			if got := len(told) == 1 && told[0].Source == "fast" && told[0].By == time.Duration(tt.by); got != tt.refused {
				t.Errorf("told of clocks ahead: %+v", told)
			}
		})
	}
}
