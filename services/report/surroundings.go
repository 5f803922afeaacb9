package report

import (
	"context"
	"math"
	"time"

	"hawser/detect/reading"
)

// surroundings are wind, water and drafts.
func (f *Figures) surroundings(ctx context.Context) error {
	for _, c := range []struct {
		kind reading.Kind
		into *Course
	}{{reading.WindSpeed, &f.wind}, {reading.WindDirection, &f.direction}, {reading.WaterLevel, &f.level},
		{reading.DraftFwd, &f.fwd}, {reading.DraftAft, &f.aft}} {
		step := f.Step
		if c.kind != reading.WindSpeed {
			step = coarseStep
		}
		courses, err := f.Source.Reduced(ctx, c.kind, f.Stay.Arrival, f.Stay.End(), step)
		if err != nil {
			return err
		}
		if len(courses) > 0 {
			*c.into = courses[0]
		}
	}
	f.Wind = weatherOf(&f.wind)
	f.Wind.MaxFrom = math.NaN()
	if len(f.wind.Time) > 0 {
		near, err := f.Source.Plain(ctx, reading.WindDirection, f.Wind.MaxAt.Add(-time.Minute), f.Wind.MaxAt.Add(time.Minute))
		if err != nil {
			return err
		}
		if len(near) > 0 {
			f.Wind.MaxFrom = nearest(&near[0], f.Wind.MaxAt)
		}
	}
	f.Water = rangeOf(&f.level)
	f.DraftFwd, f.DraftAft = ends(&f.fwd), ends(&f.aft)
	return nil
}

func weatherOf(c *Course) Weather {
	w := Weather{MeanMS: math.NaN(), MaxMS: math.NaN(), HighestMS: math.NaN()}
	var sum float64
	for k := range c.Time {
		sum += c.Mean[k]
		if above(c.Max[k], w.MaxMS) {
			w.MaxMS, w.MaxAt = c.Max[k], time.Unix(0, c.Time[k]).UTC()
		}
	}
	if n := len(c.Time); n > 0 {
		w.MeanMS = sum / float64(n)
	}
	for _, m := range means(c, 10*time.Minute) {
		if above(m.v, w.HighestMS) {
			w.HighestMS = m.v
		}
	}
	return w
}

type at struct {
	t int64
	v float64
}

// means are the means over spans of time counted from the epoch.
func means(c *Course, long time.Duration) (out []at) {
	var sum float64
	n := 0
	for k, t := range c.Time {
		sum, n = sum+c.Mean[k], n+1
		if k+1 == len(c.Time) || c.Time[k+1]/int64(long) != t/int64(long) {
			out = append(out, at{t - t%int64(long), sum / float64(n)})
			sum, n = 0, 0
		}
	}
	return out
}

func nearest(c *Course, to time.Time) float64 {
	best, v := int64(math.MaxInt64), math.NaN()
	for k, t := range c.Time {
		if d := max(t-to.UnixNano(), to.UnixNano()-t); d < best {
			best, v = d, c.Mean[k]
		}
	}
	return v
}

func rangeOf(c *Course) Range {
	r := Range{Lo: math.NaN(), Hi: math.NaN()}
	for k, t := range c.Time {
		if below(c.Min[k], r.Lo) {
			r.Lo, r.LoAt = c.Min[k], time.Unix(0, t).UTC()
		}
		if above(c.Max[k], r.Hi) {
			r.Hi, r.HiAt = c.Max[k], time.Unix(0, t).UTC()
		}
	}
	return r
}

func ends(c *Course) [2]float64 {
	if len(c.Mean) == 0 {
		return [2]float64{math.NaN(), math.NaN()}
	}
	return [2]float64{c.Mean[0], c.Mean[len(c.Mean)-1]}
}
