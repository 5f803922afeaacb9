package study_test

import (
	"slices"
	"strings"
	"time"

	"hawser/ingest/simulate"
)

// pairMinutes is long enough for a pin's zero that jumps late to be due.
const pairMinutes = 32

// pairKinds are scenes in which two things happen within minutes of one another.
func pairKinds() []kind {
	fair := [2]float64{0.16, 0.28}
	return []kind{
		{"two at once", pairMinutes, fair, (*scene).twoAtOnce},
		{"two at once in the weather", pairMinutes, fair, (*scene).twoInTheWeather},
	}
}

// twoAtOnce has two incidents, each as in a scene of its own, on different lines.
func (c *scene) twoAtOnce() {
	incidents := slices.DeleteFunc(kinds(), func(k kind) bool { return k.minutes > pairMinutes })
	c.story.Events = []simulate.Event{}
	for range 2 {
		k := incidents[c.rng.IntN(len(incidents))]
		c.of = append(c.of, k.name)
		before := len(c.story.Events)
		k.happens(c)
		if c.story.Length < 0 || c.againOn(before) || c.unseen() > 1 {
			c.impossible()
			return
		}
		later := c.at(0, 3)
		for n := before; n < len(c.story.Events); n++ {
			c.story.Events[n].At += later
		}
	}
	c.standDowns()
	c.story.Length = pairMinutes * time.Minute
}

// standDowns stands the watch down for every line worked that the pay-out does not tell
// of: one incident may have taken from another what it is told by.
func (c *scene) standDowns() {
	events := slices.DeleteFunc(c.story.Events, func(e simulate.Event) bool { return e.Kind == simulate.StandDown })
	c.story.Events = []simulate.Event{}
	for _, e := range events {
		if e.Kind == simulate.Tend {
			c.worked(c.plan.Line(e.Line), e.At, e.Value)
		} else {
			c.add(e)
		}
	}
}

// againOn reports whether an event from this one on is of a line that an earlier one is of.
func (c *scene) againOn(first int) bool {
	return slices.ContainsFunc(c.story.Events[first:], func(e simulate.Event) bool {
		return e.Line != "" && slices.ContainsFunc(c.story.Events[:first], func(o simulate.Event) bool { return o.Line == e.Line })
	})
}

// unseen is how many of the incidents are for the ship alone to tell of. A second one
// gives the first line its pin back.
func (c *scene) unseen() (n int) {
	for _, name := range c.of {
		if strings.HasPrefix(name, "unseen") || name == "bollard gives" {
			n++
		}
	}
	return n
}

// twoInTheWeather is twoAtOnce as passing ships, squalls, a swell, the tide, cargo or a crew
// work the lines.
func (c *scene) twoInTheWeather() {
	weathers := slices.DeleteFunc(quietKinds(), func(k kind) bool {
		return !slices.Contains([]string{"spring tide", "cargo", "squalls", "swell", "passing ships", "tending"}, k.name)
	})
	w := weathers[c.rng.IntN(len(weathers))]
	c.of = append(c.of, w.name)
	w.happens(c)
	events := c.story.Events
	c.twoAtOnce()
	if c.story.Length < 0 {
		return
	}
	c.story.Events = append(c.story.Events, events...)
	c.standDowns()
}

// what a scene is made of.
func (c *scene) String() string {
	if c.of == nil {
		return c.kind
	}
	return c.kind + ": " + strings.Join(c.of, ", ")
}
