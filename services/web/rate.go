package web

import "math"

const (
	// rateSpans is the time a rate is taken over, five minutes: long against waves
	// and gusts, short against tide and cargo. Common practice, no source.
	rateSpans = 30
	// leastSpans is the fewest that a rate is told from, two minutes.
	leastSpans = 12
	// sure is how many standard errors a slope must be from nothing to be told.
	sure = 3
	// lasting is the least part of the change between the first and the last third of
	// the time that lies on either side of the middle third. A ramp has half; a step, as
	// at a parting, and a squall that is passing have none on one side. Common practice,
	// no source.
	lasting = 0.2
)

// rate is the slope of a course's means over its last five minutes by least
// squares, kN a minute; unknown where there is too little of it, where it does not
// stand out from the scatter, and where the load did not go that way all the while.
func rate(course []spanWire) number {
	if len(course) == 0 {
		return number{}
	}
	newest := course[len(course)-1][0].v
	for len(course) > 0 && course[0][0].v <= newest-rateSpans {
		course = course[1:]
	}
	n := float64(len(course))
	if len(course) < leastSpans {
		return number{}
	}
	var meanT, meanKN float64
	for _, s := range course {
		meanT += (s[0].v - newest) / n
		meanKN += s[2].v / n
	}
	var tt, tk, kk float64
	for _, s := range course {
		t, k := s[0].v-newest-meanT, s[2].v-meanKN
		tt, tk, kk = tt+t*t, tk+t*k, kk+k*k
	}
	slope := tk / tt // kN a span
	residual := math.Max(0, kk-slope*tk)
	if math.Abs(slope) <= sure*math.Sqrt(residual/(n-2)/tt) {
		return number{}
	}
	if !lasts(course) {
		return number{}
	}
	perMinute := slope * 60 / spanSeconds
	return to(2, &perMinute)
}

// lasts reports whether the means of a course's thirds go one way, each by its part,
// and the last third does not go back by more than that part.
func lasts(course []spanWire) bool {
	third := len(course) / 3
	mean := func(spans []spanWire) (kN float64) {
		for _, s := range spans {
			kN += s[2].v / float64(len(spans))
		}
		return kN
	}
	newest := course[len(course)-third:]
	first, middle, last := mean(course[:third]), mean(course[third:len(course)-third]), mean(newest)
	part := (middle - first) / (last - first)
	back := (mean(newest[:third/2]) - mean(newest[third/2:])) / (last - first)
	return part >= lasting && part <= 1-lasting && back <= lasting
}
