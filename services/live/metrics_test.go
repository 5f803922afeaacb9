package live_test

import (
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"hawser/services/live"
)

func TestMetrics(t *testing.T) {
	w := newWall()
	b, registry := board(t, w)
	b.Update("east-3", w.t, block(
		series("1/tension", []int64{at(0)}, 160),
		series("1/brake", []int64{at(0)}, 1),
		series("1/payout", []int64{at(0)}, -0.5),
		series("water/level", []int64{at(0)}, 2.5),
	))
	w.wait(10 * time.Second)
	b.Update("east-3", w.t, block(series("2/tension", []int64{at(10 * time.Second)}, 110)))
	w.wait(15 * time.Second)
	// By hand: 160/640 and 160/(0.50*640); 110/1000 and 110/(0.55*1000).
	want := `
# HELP hawser_berth_data_age_seconds Time since readings of the berth last came in.
# TYPE hawser_berth_data_age_seconds gauge
hawser_berth_data_age_seconds{berth="east-3"} 15
# HELP hawser_berth_water_level_meters Water level above chart datum.
# TYPE hawser_berth_water_level_meters gauge
hawser_berth_water_level_meters{berth="east-3"} 2.5
# HELP hawser_line_brake_set 1 with the winch brake set, 0 with it released. Absent while it is not live.
# TYPE hawser_line_brake_set gauge
hawser_line_brake_set{berth="east-3",group="head",line="1"} 1
# HELP hawser_line_mbl_ratio Newest load as a share of ship design minimum breaking load. Absent while it is not live.
# TYPE hawser_line_mbl_ratio gauge
hawser_line_mbl_ratio{berth="east-3",group="fwd-spring",line="2"} 0.11
hawser_line_mbl_ratio{berth="east-3",group="head",line="1"} 0.25
# HELP hawser_line_payout_meters Line paid out past the drum since zeroing, positive outboard. Absent while it is not live.
# TYPE hawser_line_payout_meters gauge
hawser_line_payout_meters{berth="east-3",group="head",line="1"} -0.5
# HELP hawser_line_tension_kilonewtons Newest load. Absent while it is not live.
# TYPE hawser_line_tension_kilonewtons gauge
hawser_line_tension_kilonewtons{berth="east-3",group="fwd-spring",line="2"} 110
hawser_line_tension_kilonewtons{berth="east-3",group="head",line="1"} 160
# HELP hawser_line_working_load_ratio Newest load as a share of the working load limit. Absent while it is not live.
# TYPE hawser_line_working_load_ratio gauge
hawser_line_working_load_ratio{berth="east-3",group="fwd-spring",line="2"} 0.2
hawser_line_working_load_ratio{berth="east-3",group="head",line="1"} 0.5
`
	if err := testutil.GatherAndCompare(registry, strings.NewReader(want)); err != nil {
		t.Error(err)
	}
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("lint: %v %v", problems, err)
	}

	w.wait(5 * time.Second) // line 1 is 30 s old, line 2 still 20 s
	want = `
# HELP hawser_line_tension_kilonewtons Newest load. Absent while it is not live.
# TYPE hawser_line_tension_kilonewtons gauge
hawser_line_tension_kilonewtons{berth="east-3",group="fwd-spring",line="2"} 110
`
	if err := testutil.GatherAndCompare(registry, strings.NewReader(want), "hawser_line_tension_kilonewtons", "hawser_berth_water_level_meters"); err != nil {
		t.Error(err)
	}
}

func TestRegistererIsNeeded(t *testing.T) {
	if _, err := live.New(live.Options{}); err == nil {
		t.Error("a board without a registerer")
	}
	registry := prometheus.NewRegistry()
	if _, err := live.New(live.Options{Registerer: registry}); err != nil {
		t.Fatal(err)
	}
	if _, err := live.New(live.Options{Registerer: registry}); err == nil {
		t.Error("two boards on one registerer")
	}
}
