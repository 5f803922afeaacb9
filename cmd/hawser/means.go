package main

import (
	"fmt"
	"math"
	"slices"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/recording"
	"hawser/services/alarm"
	"hawser/services/reckon"
	"hawser/services/watch"
)

// meanSpan is the time over which a recording's readings are averaged: the
// detectors' slow mean.
const meanSpan = time.Minute

// means are averages of a recording's channels over the minute before a time.
type means struct {
	sums  map[reading.Channel]*average
	plan  *mooring.Plan
	until time.Time
	// stands is what the detectors, run over all before, have told by then and not
	// cleared.
	stands []detect.Change
}

type average struct {
	n        int
	total    float64
	sin, cos float64 // of a direction
}

// readMeans reads a recording up to a time.
func readMeans(path string, p *mooring.Plan, until time.Time) (*means, error) {
	r, err := recording.Open(path, recording.Options{})
	if err != nil {
		return nil, err
	}
	defer r.Close()
	m := &means{sums: map[reading.Channel]*average{}, plan: p, until: until}
	first, last := until.Add(-meanSpan).UnixNano(), until.UnixNano()
	unit := watch.NewUnit(p)
	for block, err := range r.Blocks() {
		if err != nil {
			return nil, err
		}
		for i := range block.Series {
			m.take(&block.Series[i], first, last)
		}
		for _, c := range unit.Take("assess", block) {
			m.hear(c)
		}
		if block.CompleteUntil > last+reading.Lateness {
			break
		}
	}
	for i := range p.Lines {
		if m.sums[m.tension(i)] != nil {
			return m, nil
		}
	}
	return nil, usageError{fmt.Errorf("--at: %s has no tension of the plan's lines in the minute before %s%s",
		path, until.Format(time.RFC3339), outside(r.Stats(), until))}
}

// outside says where the readings of a recording begin or end, where a time is before or
// after them.
func outside(s recording.Stats, at time.Time) string {
	first, last := time.Unix(0, s.First).UTC(), time.Unix(0, s.Last).UTC()
	switch {
	case s.First == 0:
		return "; it has no readings"
	case at.Before(first):
		return "; its readings begin at " + first.Format(time.RFC3339)
	case at.After(last):
		return "; its readings end at " + last.Format(time.RFC3339)
	}
	return ""
}

func (m *means) tension(i int) reading.Channel {
	return reading.Channel{Line: m.plan.Lines[i].ID, Kind: reading.Tension}
}

// take adds the good readings after first, up to last.
func (m *means) take(s *reading.Series, first, last int64) {
	for k, at := range s.Time {
		if at <= first || at > last || s.QualityAt(k) == reading.Bad {
			continue
		}
		t := m.sums[s.Channel]
		if t == nil {
			t = &average{}
			m.sums[s.Channel] = t
		}
		t.n++
		t.total += s.Value[k]
		sin, cos := math.Sincos(s.Value[k] * math.Pi / 180)
		t.sin, t.cos = t.sin+sin, t.cos+cos
	}
}

// hear notes what a change up to the time raised or cleared.
func (m *means) hear(c detect.Change) {
	if c.When().After(m.until) {
		return
	}
	m.stands = slices.DeleteFunc(m.stands, func(s detect.Change) bool {
		return s.Condition == c.Condition && s.Line == c.Line && s.Group == c.Group
	})
	if c.Raised {
		m.stands = append(m.stands, c)
	}
}

// heard is what that tells of the lines. A pin that is silent for longer than it should be
// has told what it has told: a recording may have a reading a minute.
func (m *means) heard() reckon.Heard {
	var standing []alarm.State
	for _, c := range m.stands {
		if c.By == detect.Silence {
			continue
		}
		s := alarm.Subject{Condition: c.Condition.String(), Line: c.Line}
		if c.Group != 0 {
			s.Group = c.Group.String()
		}
		standing = append(standing, alarm.State{Subject: s})
	}
	return reckon.Hear(m.plan, standing)
}

// loads are the lines' means, NaN where a line has no reading.
func (m *means) loads() []float64 {
	out := noLoads(m.plan)
	for i := range out {
		if t := m.sums[m.tension(i)]; t != nil {
			out[i] = max(0, t.total/float64(t.n))
		}
	}
	return out
}

// of is the mean of one of the berth's channels.
func (m *means) of(k reading.Kind) (float64, bool) {
	t := m.sums[reading.Channel{Kind: k}]
	if t == nil {
		return 0, false
	}
	if k == reading.WindDirection {
		return math.Mod(math.Atan2(t.sin, t.cos)*180/math.Pi+360, 360), true
	}
	return t.total / float64(t.n), true
}

func noLoads(p *mooring.Plan) []float64 {
	out := make([]float64, len(p.Lines))
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}

// known counts loads that are known.
func known(loads []float64) int {
	n := 0
	for _, kN := range loads {
		if !math.IsNaN(kN) {
			n++
		}
	}
	return n
}
