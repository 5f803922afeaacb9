package web

import (
	"fmt"
	"strings"

	hawserv1 "hawser/proto/hawser/v1"
)

// courseView is the last ten minutes as a drawing of courseWide by courseHigh:
// the newest on the right, zero at the foot, the working load limit or what went
// over it near the top.
type courseView struct {
	Mean  string  // path of the spans' means
	Band  string  // path from the spans' least to their greatest
	Limit float64 // height of the working load limit
	Words string
}

const (
	courseWide, courseHigh = 120.0, 28.0
	courseSeconds          = 600
	spanSeconds            = 10
)

// drawCourse draws a line's course, nil where it has none.
func drawCourse(l *hawserv1.LinePicture) *courseView {
	if len(l.Course) == 0 {
		return nil
	}
	least, most := l.Course[0].MinKn, l.Course[0].MaxKn
	for _, p := range l.Course {
		least, most = min(least, p.MinKn), max(most, p.MaxKn)
	}
	top := 1.05 * max(l.WorkingLoadKn, float64(most))
	x := func(p *hawserv1.CoursePoint) float64 {
		return courseWide * (1 - float64(p.SecondsAgo)/courseSeconds)
	}
	y := func(kN float32) float64 { return courseHigh * (1 - max(0, float64(kN))/top) }
	v := &courseView{Limit: courseHigh * (1 - l.WorkingLoadKn/top),
		Words: figures("%.0f", float64(least)) + " to " + figures("%.0f", float64(most)) + " kN"}
	var mean, band strings.Builder
	for first, points := 0, l.Course; first < len(points); {
		last := first // of a run without a gap
		for last+1 < len(points) && points[last].SecondsAgo-points[last+1].SecondsAgo <= spanSeconds {
			last++
		}
		step := 'M'
		for _, p := range points[first : last+1] {
			fmt.Fprintf(&mean, "%c%.1f %.1f", step, x(p), y(p.MeanKn))
			fmt.Fprintf(&band, "%c%.1f %.1f", step, x(p), y(p.MaxKn))
			step = 'L'
		}
		for i := last; i >= first; i-- {
			fmt.Fprintf(&band, "L%.1f %.1f", x(points[i]), y(points[i].MinKn))
		}
		band.WriteByte('Z')
		first = last + 1
	}
	v.Mean, v.Band = mean.String(), band.String()
	return v
}
