package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"hawser/detect/assess"
	"hawser/detect/mooring"
)

const msPerKnot = 1852.0 / 3600

// blow is a flag of the form KN@DEG: a speed in knots and a direction in degrees
// true.
type blow struct {
	knots, deg float64
	most       float64 // knots
	given      bool
}

func (b *blow) Type() string { return "KN@DEG" }

func (b *blow) String() string {
	if !b.given {
		return ""
	}
	return fmt.Sprintf("%g@%g", b.knots, b.deg)
}

func (b *blow) Set(text string) error {
	speed, direction, ok := strings.Cut(text, "@")
	if !ok {
		return fmt.Errorf("expected knots@degrees such as 35@270")
	}
	knots, err := number(speed, 0, b.most)
	if err != nil {
		return fmt.Errorf("speed in knots: %w", err)
	}
	deg, err := number(direction, 0, 360)
	if err != nil {
		return fmt.Errorf("direction in degrees true: %w", err)
	}
	b.knots, b.deg, b.given = knots, deg, true
	return nil
}

// measure is a flag that is a number in a range, and whether it was given.
type measure struct {
	value       float64
	least, most float64
	unit        string
	given       bool
}

func (m *measure) Type() string { return m.unit }

func (m *measure) String() string {
	if !m.given {
		return ""
	}
	return strconv.FormatFloat(m.value, 'g', -1, 64)
}

func (m *measure) Set(text string) (err error) {
	if m.value, err = number(text, m.least, m.most); err != nil {
		return err
	}
	m.given = true
	return nil
}

// drafts is a flag of the form F,A in metres.
type drafts struct {
	fwd, aft float64
	given    bool
}

func (d *drafts) Type() string { return "F,A" }

func (d *drafts) String() string {
	if !d.given {
		return ""
	}
	return fmt.Sprintf("%g,%g", d.fwd, d.aft)
}

func (d *drafts) Set(text string) (err error) {
	fwd, aft, ok := strings.Cut(text, ",")
	if !ok {
		return fmt.Errorf("expected draft forward and aft in metres such as 8.2,9.0")
	}
	if d.fwd, err = number(fwd, 0.1, 40); err != nil {
		return fmt.Errorf("forward: %w", err)
	}
	if d.aft, err = number(aft, 0.1, 40); err != nil {
		return fmt.Errorf("aft: %w", err)
	}
	d.given = true
	return nil
}

// number reads a finite number in a range.
func number(text string, least, most float64) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	switch {
	case err != nil || math.IsNaN(v):
		return 0, fmt.Errorf("%q is no number", text)
	case v < least || v > most:
		return 0, fmt.Errorf("%s must be from %g to %g", strings.TrimSpace(text), least, most)
	}
	return v, nil
}

// linesOf are the indexes of lines named on the command line.
func linesOf(p *mooring.Plan, ids []string) ([]int, error) {
	var out []int
	for _, id := range ids {
		i := p.Line(strings.TrimSpace(id))
		switch {
		case i < 0:
			return nil, fmt.Errorf("the plan has no line %q", id)
		case slices.Contains(out, i):
			return nil, fmt.Errorf("line %q is named twice", id)
		}
		out = append(out, i)
	}
	return out, nil
}

// workOf is a kind of cargo work named on the command line.
func workOf(name string) (assess.Work, error) {
	for _, w := range assess.Works() {
		if w.String() == name {
			return w, nil
		}
	}
	return 0, fmt.Errorf("%q is none of %s", name, strings.Join(workNames(), ", "))
}

func workNames() []string {
	var names []string
	for _, w := range assess.Works() {
		names = append(names, w.String())
	}
	return names
}
