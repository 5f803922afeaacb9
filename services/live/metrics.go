package live

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect/reading"
)

// descriptions of what the collector tells. Labels are bounded by the plans.
type descriptions struct {
	tension, mbl, workingLoad, payout, brake *prometheus.Desc
	age                                      *prometheus.Desc
	berth                                    map[reading.Kind]*prometheus.Desc
}

func describe() descriptions {
	line := func(name, help string) *prometheus.Desc {
		return prometheus.NewDesc(name, help+" Absent while it is not live.", []string{"berth", "line", "group"}, nil)
	}
	berth := func(name, help string) *prometheus.Desc {
		return prometheus.NewDesc(name, help, []string{"berth"}, nil)
	}
	return descriptions{
		tension:     line("hawser_line_tension_kilonewtons", "Newest load."),
		mbl:         line("hawser_line_mbl_ratio", "Newest load as a share of ship design minimum breaking load."),
		workingLoad: line("hawser_line_working_load_ratio", "Newest load as a share of the working load limit."),
		payout:      line("hawser_line_payout_meters", "Line paid out past the drum since zeroing, positive outboard."),
		brake:       line("hawser_line_brake_set", "1 with the winch brake set, 0 with it released."),
		age:         berth("hawser_berth_data_age_seconds", "Time since readings of the berth last came in."),
		berth: map[reading.Kind]*prometheus.Desc{
			reading.WindSpeed:     berth("hawser_berth_wind_speed_meters_per_second", "Wind at 10 m."),
			reading.WindDirection: berth("hawser_berth_wind_direction_degrees", "Where the wind comes from, true."),
			reading.WaterLevel:    berth("hawser_berth_water_level_meters", "Water level above chart datum."),
			reading.DraftFwd:      berth("hawser_berth_draft_fwd_meters", "Draft forward."),
			reading.DraftAft:      berth("hawser_berth_draft_aft_meters", "Draft aft."),
			reading.UnderWatch:    berth("hawser_berth_under_watch", "1 while made fast and under watch, 0 while arriving or leaving."),
		},
	}
}

// collector tells the newest values when asked.
type collector struct{ board *Board }

func (c collector) Describe(ch chan<- *prometheus.Desc) {
	d := describe()
	for _, desc := range []*prometheus.Desc{d.tension, d.mbl, d.workingLoad, d.payout, d.brake, d.age} {
		ch <- desc
	}
	for _, desc := range d.berth {
		ch <- desc
	}
}

func (c collector) Collect(ch chan<- prometheus.Metric) {
	d, now := describe(), c.board.now()
	for _, b := range c.board.pick("") {
		b.collect(ch, &d, now, c.board.stale)
	}
}

func (b *berth) collect(ch chan<- prometheus.Metric, d *descriptions, now time.Time, stale time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if a := age(b.received, now); a != nil {
		ch <- prometheus.MustNewConstMetric(d.age, prometheus.GaugeValue, *a, b.name)
	}
	for kind, desc := range d.berth {
		if v := &b.values[kind]; v.within(stale, now) {
			ch <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, v.v, b.name)
		}
	}
	for i := range b.lines {
		l, plan := &b.lines[i], &b.plan.Lines[i]
		tell := func(desc *prometheus.Desc, v *value, of float64) {
			if v.within(stale, now) {
				ch <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, v.v/of, b.name, plan.ID, plan.Group.String())
			}
		}
		tell(d.tension, &l.tension, 1)
		tell(d.mbl, &l.tension, plan.MBLkN)
		tell(d.workingLoad, &l.tension, b.plan.WorkingLoadKN(i))
		tell(d.payout, &l.payout, 1)
		tell(d.brake, &l.brake, 1)
	}
}
