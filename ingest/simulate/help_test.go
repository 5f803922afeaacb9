package simulate_test

import (
	"math"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
)

var start = time.Date(2026, 5, 4, 3, 2, 1, 0, time.UTC)

// plan is one of the invented plans.
func plan(t testing.TB, name string) *mooring.Plan {
	t.Helper()
	p, _, err := planfile.Load("../../testdata/plans/" + name + ".yaml")
	must(t, err)
	return p
}

// still is a story without waves, gusts and noise.
func still(events ...simulate.Event) simulate.Story {
	return simulate.Story{Seed: 7, Start: start, Events: events}
}

// track is all readings of a run by channel name.
type track map[string]*reading.Series

func begin(t testing.TB, p *mooring.Plan, story simulate.Story) *simulate.Simulation {
	t.Helper()
	s, err := simulate.New(p, story)
	must(t, err)
	return s
}

// run simulates that many seconds and keeps every reading.
func run(t testing.TB, p *mooring.Plan, story simulate.Story, seconds float64) track {
	t.Helper()
	s := begin(t, p, story)
	out := track{}
	end := story.Start.Add(time.Duration(seconds * 1e9)).UnixNano()
	for {
		b := s.Next()
		if b == nil {
			return out
		}
		for i := range b.Series {
			out.keep(&b.Series[i])
		}
		if b.CompleteUntil >= end-1 {
			return out
		}
	}
}

func (tr track) keep(s *reading.Series) {
	name := s.Channel.String()
	k := tr[name]
	if k == nil {
		k = &reading.Series{Channel: s.Channel, Decimals: s.Decimals}
		tr[name] = k
	}
	for i := range s.Time {
		k.Time = append(k.Time, s.Time[i])
		k.Value = append(k.Value, s.Value[i])
		k.Quality = append(k.Quality, s.QualityAt(i))
	}
}

// between is a channel's values from one second of the run to another.
func (tr track) between(t testing.TB, channel string, from, to float64) []float64 {
	t.Helper()
	s := tr[channel]
	if s == nil {
		t.Fatalf("no channel %s", channel)
	}
	var out []float64
	for i, at := range s.Time {
		if x := float64(at-start.UnixNano()) / 1e9; x >= from && x < to {
			out = append(out, s.Value[i])
		}
	}
	return out
}

// mean is the mean of a channel from one second to another.
func (tr track) mean(t testing.TB, channel string, from, to float64) float64 {
	t.Helper()
	values := tr.between(t, channel, from, to)
	if len(values) == 0 {
		t.Fatalf("%s: nothing from %g to %g s", channel, from, to)
	}
	var sum float64
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

func (tr track) extremes(t testing.TB, channel string, from, to float64) (lo, hi float64) {
	t.Helper()
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range tr.between(t, channel, from, to) {
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
