package study_test

import (
	"math"
	"strings"
	"testing"

	"hawser/detect"
	"hawser/ingest/simulate"
)

// unseenParting is the parting of a line without a load pin: what it carried, and from
// which load the detectors said just before that they would tell it.
type unseenParting struct {
	line        int
	at          float64 // s
	least, load float64 // kN
	told, due   bool    // due where the scene asks for it
}

// unseenPartings are those of a scene, as the story has them.
func unseenPartings(c *scene) (out []unseenParting) {
	for _, e := range c.story.Events {
		for i := range c.plan.Lines {
			if e.Kind == simulate.Part && e.Line == c.plan.Lines[i].ID && !c.plan.Lines[i].Instrumented {
				out = append(out, unseenParting{line: i, at: e.At.Seconds(), least: math.NaN()})
			}
		}
	}
	return out
}

// look takes what the detectors say at a second of the scene.
func look(partings []unseenParting, b *detect.Berth, at float64) {
	var least []float64
	for k := range partings {
		if p := &partings[k]; at < p.at && at > p.at-2 {
			least = b.LeastLosses(least[:0])
			p.least = least[p.line]
		}
	}
}

// settle takes what was carried and what was told.
func settle(partings []unseenParting, t *track, truth *truth) {
	for k := range partings {
		p := &partings[k]
		p.load = t.loads[p.line][int(p.at*trackHz)-1]
		for _, e := range truth.events {
			if e.condition == detect.Redistribution && e.onset == p.at {
				p.due, p.told = true, e.told
			}
		}
	}
}

// addUnseen counts a parting, if it was due and the detectors said anything of it.
func (s *sum) addUnseen(p *unseenParting) {
	if !p.due || math.IsNaN(p.least) {
		return
	}
	to := &s.under
	if p.load >= p.least {
		to = &s.over
	}
	to.events++
	if p.told {
		to.told++
	}
}

// TestLeastLosses holds the load from which the detectors say that they would tell a parting
// that no pin shows, nine times in ten, against such partings. Some dozens of them say
// little of one in ten; the longer study tells of more.
func TestLeastLosses(t *testing.T) {
	var unseen []kind
	for _, k := range kinds() {
		if strings.HasPrefix(k.name, "unseen parting") {
			unseen = append(unseen, k)
		}
	}
	s := study(scenes(unseen, 900, 3e6), func(string) {})
	t.Logf("told %d of %d partings of loads over it, %d of %d under it", s.over.told, s.over.events, s.under.told, s.under.events)
	if s.over.events < 20 || s.over.recall() < 0.8 {
		t.Errorf("%d of %d partings told of loads from which nine in ten are said to be", s.over.told, s.over.events)
	}
	if s.under.events < 10 || s.under.recall() > 0.7 {
		t.Errorf("%d of %d partings told of loads under it: it says little", s.under.told, s.under.events)
	}
}
