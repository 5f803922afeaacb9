package performance_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/goleak"

	"hawser/detect"
	"hawser/ingest/journal"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
	"hawser/services/performance"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// house is an alarm log on a real journal, its clock, and what measures it.
type house struct {
	t        *testing.T
	alarms   *alarm.Log
	tracker  *performance.Tracker
	registry *prometheus.Registry
	clock    *alarmtest.Clock
	applied  uint64
}

func newHouse(t *testing.T) *house {
	t.Helper()
	h := &house{t: t, clock: alarmtest.NewClock(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)), registry: prometheus.NewRegistry()}
	j, err := journal.Open(t.Context(), journal.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	quiet := slog.New(slog.DiscardHandler)
	h.alarms, err = alarm.Open(t.Context(), alarm.Options{Records: j, Logger: quiet, Registerer: prometheus.NewRegistry(), Now: h.clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	if h.tracker, err = performance.New(h.alarms, h.registry, h.clock.Now); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = h.tracker.Run(ctx)
	}()
	t.Cleanup(func() {
		cancel()
		<-done
		_, _ = h.alarms.Close(), j.Close()
	})
	return h
}

func (h *house) change(berth string, c detect.Condition, line string, raised bool) {
	h.t.Helper()
	h.applied++
	if err := h.alarms.Apply(h.t.Context(), berth, h.applied, []detect.Change{{Time: h.clock.Now().UnixNano(), Condition: c, Raised: raised, Line: line}}); err != nil {
		h.t.Fatal(err)
	}
}

// pulse raises and clears.
func (h *house) pulse(berth string, c detect.Condition, line string) {
	h.t.Helper()
	h.change(berth, c, line, true)
	h.change(berth, c, line, false)
}

// report waits until as many raises are counted as there were.
func (h *house) report(berth string, period time.Duration, raised int) (r performance.Report) {
	h.t.Helper()
	waittest.Until(h.t, "the raises to be counted", func() error {
		if r = h.tracker.Report(berth, period); r.Raised != raised {
			return fmt.Errorf("%d of %d", r.Raised, raised)
		}
		return nil
	})
	return r
}

// A quiet hour, a flood of eleven in ten minutes, and one line that comes and goes:
// counted by hand. Over ten in ten minutes is a flood, one in ten minutes is
// acceptable: ANSI/ISA-18.2-2016 clause 16, from memory.
func TestReportByHand(t *testing.T) {
	h := newHouse(t)
	for range 3 { // one an interval for half an hour
		h.clock.Move(5 * time.Minute)
		h.pulse("east-3", detect.Imbalance, "1")
		h.clock.Move(5 * time.Minute)
	}
	h.clock.Move(time.Minute)
	for i := range 11 {
		h.pulse("west-1", detect.SnapLoad, fmt.Sprint(i))
		h.clock.Move(30 * time.Second)
	}
	h.clock.Move(5*time.Minute + 30*time.Second) // 12 min after the flood began
	h.clock.Move(7 * time.Minute)
	for range 4 { // within 45 s
		h.pulse("east-3", detect.OverLimit, "2")
		h.clock.Move(15 * time.Second)
	}
	h.clock.Move(10 * time.Minute)
	period := h.clock.Now().Sub(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)).Truncate(10 * time.Minute)
	r := h.report("", period, 18)
	intervals := float64(period / (10 * time.Minute))
	if r.Peak != 11 || math.Abs(r.Mean-18/intervals) > 1e-12 || math.Abs(r.FloodPart-1/intervals) > 1e-12 || r.Flooded {
		t.Errorf("peak %d, mean %g, floods %g, flooded now %t over %g intervals", r.Peak, r.Mean, r.FloodPart, r.Flooded, intervals)
	}
	// 3 warnings and 15 alarms.
	if r.ByPriority[detect.Warning] != 3./18 || r.ByPriority[detect.Alarm] != 15./18 {
		t.Errorf("by priority: %v", r.ByPriority)
	}
	if len(r.Frequent) != 10 || r.Frequent[0].Raised != 4 || r.Frequent[0].Subject.Line != "2" || r.Frequent[1].Raised != 3 ||
		math.Abs(r.FrequentShare-(4+3+8)/18.) > 1e-12 {
		t.Errorf("frequent: %+v, %g", r.Frequent, r.FrequentShare)
	}
	if len(r.Chattering) != 1 || r.Chattering[0].Subject.Condition != "over-limit" || r.Chattering[0].Raised != 4 {
		t.Errorf("chattering: %+v", r.Chattering)
	}
	if r := h.report("east-3", period, 7); r.Peak != 4 || r.FloodPart != 0 {
		t.Errorf("one berth: %+v", r)
	}
}

// An alarm of over a day stands; one on a shelf does not count, nor does what is
// raised there.
func TestStandingAndHeld(t *testing.T) {
	h := newHouse(t)
	h.change("east-3", detect.OverLimit, "1", true)
	h.change("east-3", detect.SensorFault, "2", true)
	if _, err := h.alarms.TakeOutOfService(t.Context(), alarm.Subject{Berth: "east-3", Line: "2"}, alarm.Person{By: "engineer"}, "new pin ordered"); err != nil {
		t.Fatal(err)
	}
	h.change("east-3", detect.OverLimit, "2", true) // quiet from the start
	h.clock.Move(24*time.Hour + time.Second)
	r := h.report("", 48*time.Hour, 2)
	if len(r.Standing) != 1 || r.Standing[0].Line != "1" {
		t.Errorf("standing: %+v", r.Standing)
	}
}

func TestMetrics(t *testing.T) {
	h := newHouse(t)
	for i := range 12 {
		h.pulse("east-3", detect.SnapLoad, fmt.Sprint(i/4))
	}
	h.report("", time.Hour, 12)
	want := `
# HELP hawser_alarm_chattering Alarms raised three times or more within a minute, in the last hour.
# TYPE hawser_alarm_chattering gauge
hawser_alarm_chattering 3
# HELP hawser_alarm_flood 1 while over ten alarms were raised in the last ten minutes.
# TYPE hawser_alarm_flood gauge
hawser_alarm_flood 1
# HELP hawser_alarm_peak_raises Most alarms raised in ten minutes of the last hour.
# TYPE hawser_alarm_peak_raises gauge
hawser_alarm_peak_raises 12
# HELP hawser_alarm_standing Alarms active for over a day and not held.
# TYPE hawser_alarm_standing gauge
hawser_alarm_standing 0
`
	if err := testutil.GatherAndCompare(h.registry, strings.NewReader(want)); err != nil {
		t.Error(err)
	}
}

// What is older than a month, and more than the most kept, is let go.
func TestBounded(t *testing.T) {
	h := newHouse(t)
	h.pulse("east-3", detect.SnapLoad, "1")
	h.clock.Move(40 * 24 * time.Hour)
	for range 3 {
		h.pulse("east-3", detect.SnapLoad, "2")
	}
	if r := h.report("", 365*24*time.Hour, 3); len(r.Frequent) != 1 || r.To.Sub(r.From) > 31*24*time.Hour {
		t.Errorf("report of %s: %+v", r.To.Sub(r.From), r.Frequent)
	}
}

// Two alarms in one hour and five in the next, by hand: the later hour is set beside the
// earlier, and its course has them where they were. Of the hour before the log's first
// record nothing is known.
func TestReportSetsThePeriodBesideTheOneBefore(t *testing.T) {
	h := newHouse(t)
	h.pulse("west-1", detect.SnapLoad, "1") // the log's first record, at 00:00
	h.clock.Move(time.Second)
	for range 2 { // at 00:20 and 00:40
		h.clock.Move(20 * time.Minute)
		h.pulse("east-3", detect.Imbalance, "1")
	}
	h.clock.Move(25 * time.Minute) // 01:05
	for range 5 {
		h.pulse("east-3", detect.Imbalance, "1")
		h.clock.Move(time.Minute)
	}
	h.clock.Move(50 * time.Minute) // 02:00
	r := h.report("east-3", time.Hour, 5)
	if r.Before == nil || r.Before.Raised != 2 || r.Before.Peak != 1 || math.Abs(r.Before.Mean-2.0/6) > 1e-12 || r.Before.FloodPart != 0 {
		t.Errorf("before: %+v, by hand 2 in six intervals", r.Before)
	}
	var counts []int
	for _, s := range r.Course {
		counts = append(counts, s.Raised)
	}
	if !slices.Equal(counts, []int{5, 0, 0, 0, 0, 0}) || !r.Began.IsZero() {
		t.Errorf("course %v, begun %s", counts, r.Began)
	}
	if r = h.report("east-3", 3*time.Hour, 7); r.Before != nil || len(r.Course) != 3 || !r.Began.Equal(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("over three hours: before %+v, %d steps, begun %s", r.Before, len(r.Course), r.Began)
	}
}

// flood is a log of an alarm raised every second.
type flood struct{ raises int }

func (flood) List(string, bool) ([]alarm.State, uint64) { return nil, 0 }

func (f flood) Follow(_ context.Context, _ uint64, fn func(*alarm.Record) error) {
	for i := range f.raises {
		_ = fn(&alarm.Record{Transition: alarm.Raised, Recorded: time.Unix(int64(i), 0), Subject: alarm.Subject{Berth: "east-3", Condition: "snap-load", Line: "1"}}) // it gives none
	}
}

// Of more raises than are kept the time before is not told by those that are left, and
// the period itself says from when it is counted.
func TestMoreRaisesThanAreKept(t *testing.T) {
	const raises = 130_000 // 36 h, of which 29 h and more are left
	tracker, err := performance.New(flood{raises}, prometheus.NewRegistry(), func() time.Time { return time.Unix(raises-1, 0) })
	if err != nil {
		t.Fatal(err)
	}
	if err := tracker.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	short := tracker.Report("", 12*time.Hour)
	if a, b := short.Raised, short.Before; a < 43_200 || b == nil || b.Raised < 43_199 || !short.Began.IsZero() {
		t.Errorf("of 12 h: %d raised, before them %+v, counted from %s", a, b, short.Began)
	}
	if middle := tracker.Report("", 18*time.Hour); middle.Before != nil || !middle.Began.IsZero() {
		t.Errorf("of 18 h: before them %+v, counted from %s", middle.Before, middle.Began)
	}
	if long := tracker.Report("", 34*time.Hour); long.Began.IsZero() || long.Raised > int(long.To.Sub(long.Began)/time.Second) {
		t.Errorf("of 34 h: %d raised, counted from %s", long.Raised, long.Began)
	}
}
