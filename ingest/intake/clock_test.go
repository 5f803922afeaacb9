package intake_test

import (
	"slices"
	"testing"
	"time"

	"hawser/ingest/intake"
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
