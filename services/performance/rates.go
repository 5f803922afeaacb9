package performance

import "time"

// Rates are how often people were called over a time.
type Rates struct {
	Raised    int
	Mean      float64 // raises an interval
	Peak      int     // most raises in an interval
	FloodPart float64 // share of intervals that were a flood
}

// Step is a part of the period.
type Step struct {
	From    time.Time
	Raised  int
	Flooded bool // some interval of it was a flood
}

// ratesOf counts raises of the period from a time on, and gives them by interval.
func ratesOf(raises []raise, from time.Time, period time.Duration) (r Rates, counts []int) {
	counts = make([]int, period/Interval)
	for _, x := range raises {
		counts[min(int(x.at.Sub(from)/Interval), len(counts)-1)]++
	}
	floods := 0
	for _, n := range counts {
		r.Peak = max(r.Peak, n)
		if n > FloodBegins {
			floods++
		}
	}
	r.Raised = len(raises)
	r.Mean = float64(len(raises)) / float64(len(counts))
	r.FloodPart = float64(floods) / float64(len(counts))
	return r, counts
}

// courseOf gathers intervals into steps: of ten minutes in a period of hours, of an
// hour in one of days, else of a day.
func courseOf(counts []int, from time.Time, period time.Duration) (course []Step) {
	step := Interval
	switch {
	case period > 48*time.Hour:
		step = 24 * time.Hour
	case period > 2*time.Hour:
		step = time.Hour
	}
	each := int(step / Interval)
	for i, n := range counts {
		if i%each == 0 {
			course = append(course, Step{From: from.Add(time.Duration(i) * Interval)})
		}
		s := &course[len(course)-1]
		s.Raised += n
		s.Flooded = s.Flooded || n > FloodBegins
	}
	return course
}

// priorities finds the share of each.
func (r *Report) priorities(raises []raise) {
	for _, x := range raises {
		r.ByPriority[x.priority]++
	}
	for p := range r.ByPriority {
		r.ByPriority[p] /= max(1, float64(len(raises)))
	}
}
