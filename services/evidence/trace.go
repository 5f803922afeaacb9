package evidence

import (
	"math"
	"slices"

	"hawser/detect/reading"
)

// traceMost bounds the readings of a channel that are kept: half an hour of a
// 20 Hz channel and some.
const traceMost = 40_000

// trace is the readings of one channel in order of time; NaN for a bad one.
type trace struct {
	times  []int64
	values []float64
}

// traces are the readings of one line.
type traces struct{ tension, payout, brake trace }

// take keeps a series of the line.
func (l *traces) take(s *reading.Series) {
	t := &l.tension
	switch s.Channel.Kind {
	case reading.Payout:
		t = &l.payout
	case reading.Brake:
		t = &l.brake
	}
	for i, at := range s.Time {
		switch s.QualityAt(i) {
		case reading.Good:
			t.add(at, s.Value[i])
		case reading.Bad:
			t.add(at, math.NaN())
		}
	}
}

func (l *traces) forget(before int64) {
	for _, t := range []*trace{&l.tension, &l.payout, &l.brake} {
		t.forget(before)
	}
}

func (t *trace) add(at int64, v float64) {
	k := len(t.times)
	for k > 0 && t.times[k-1] > at {
		k--
	}
	t.times, t.values = slices.Insert(t.times, k, at), slices.Insert(t.values, k, v)
}

// forget drops what is before a time, or more than is kept. It moves the rest
// only when half may go, so that a reading costs little.
func (t *trace) forget(before int64) {
	old, _ := slices.BinarySearch(t.times, before)
	old = max(old, len(t.times)-traceMost)
	if old > 0 && 2*old >= len(t.times) || len(t.times) > 2*traceMost {
		t.times, t.values = slices.Delete(t.times, 0, old), slices.Delete(t.values, 0, old)
	}
}

// between are the readings from one time up to, and without, another.
func (t *trace) between(from, to int64) ([]int64, []float64) {
	a, _ := slices.BinarySearch(t.times, from)
	b, _ := slices.BinarySearch(t.times, to)
	return t.times[a:b], t.values[a:b]
}

// mean is the mean of the good readings between two times, NaN where there are
// none.
func (t *trace) mean(from, to int64) float64 {
	_, values := t.between(from, to)
	var sum, n float64
	for _, v := range values {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / n
}

// last is the newest reading at or before a time, no older than ten seconds; NaN
// where there is none.
func (t *trace) last(at int64) float64 {
	_, values := t.between(at-mean, at+1)
	if len(values) == 0 {
		return math.NaN()
	}
	return values[len(values)-1]
}
