package report

import (
	"context"
	"errors"
	"math"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/recording"
)

// Recording is a Source over a recording, which it reads as often as it is asked; what
// is asked for in steps of ten seconds it keeps from the first time.
type Recording struct {
	path  string
	steps map[reading.Kind][]Course
	bad   map[string][]int64
}

// NewRecording reads a recording once, handing every block to look, which may be nil.
// The block is valid until look returns.
func NewRecording(path string, look func(*reading.Block) error) (*Recording, error) {
	r := &Recording{path: path, steps: map[reading.Kind][]Course{}, bad: map[string][]int64{}}
	all := map[reading.Channel]*steps{}
	var order []*steps // as they came
	err := r.blocks(func(b *reading.Block) error {
		for i := range b.Series {
			s := &b.Series[i]
			c := all[s.Channel]
			if c == nil {
				c = &steps{long: fineStep, course: Course{Channel: s.Channel}}
				all[s.Channel] = c
				order = append(order, c)
			}
			for k, t := range s.Time {
				switch q := s.QualityAt(k); {
				case q == reading.Bad:
					if s.Channel.Kind == reading.Tension {
						r.bad[s.Channel.Line] = append(r.bad[s.Channel.Line], t)
					}
				case q == reading.Good:
					c.add(t, s.Value[k], s.Value[k], s.Value[k])
				}
			}
		}
		if look != nil {
			return look(b)
		}
		return nil
	})
	for _, c := range order {
		kind := c.course.Channel.Kind
		r.steps[kind] = append(r.steps[kind], c.end())
	}
	return r, err
}

// steps gathers readings, or shorter steps, into steps of a length.
type steps struct {
	long   time.Duration
	course Course  // the mean of its newest step is a sum, until end
	n      float64 // in the newest step
}

// add takes what comes next. What is late by less than the recording's own bound counts
// to the newest step.
func (s *steps) add(t int64, least, mean, most float64) {
	t -= t % int64(s.long)
	c := &s.course
	last := len(c.Time) - 1
	if last >= 0 && t <= c.Time[last] {
		c.Min[last], c.Mean[last], c.Max[last] = min(c.Min[last], least), c.Mean[last]+mean, max(c.Max[last], most)
		s.n++
		return
	}
	s.end()
	c.Time, s.n = append(c.Time, t), 1
	c.Min, c.Mean, c.Max = append(c.Min, least), append(c.Mean, mean), append(c.Max, most)
}

// end makes the mean of the newest step of its sum.
func (s *steps) end() Course {
	if last := len(s.course.Time) - 1; last >= 0 {
		s.course.Mean[last] /= s.n
	}
	return s.course
}

func (r *Recording) blocks(fn func(*reading.Block) error) error {
	in, err := recording.Open(r.path, recording.Options{Window: time.Second})
	if err != nil {
		return err
	}
	defer in.Close()
	for b, err := range in.Blocks() {
		if err == nil {
			err = fn(b)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Reduced is part of Source. Steps are whole times ten seconds.
func (r *Recording) Reduced(_ context.Context, kind reading.Kind, from, to time.Time, step time.Duration) ([]Course, error) {
	var out []Course
	for _, c := range r.steps[kind] {
		d := steps{long: step, course: Course{Channel: c.Channel}}
		for k, t := range c.Time {
			if t >= from.UnixNano()-from.UnixNano()%int64(step) && t < to.UnixNano() {
				d.add(t, c.Min[k], c.Mean[k], c.Max[k])
			}
		}
		if len(d.course.Time) > 0 {
			out = append(out, d.end())
		}
	}
	return out, nil
}

// Plain is part of Source.
func (r *Recording) Plain(ctx context.Context, kind reading.Kind, from, to time.Time) ([]Course, error) {
	var out []Course
	index := map[reading.Channel]int{}
	err := r.Each(ctx, kind, from, to, func(c *Course) {
		n, ok := index[c.Channel]
		if !ok {
			n = len(out)
			index[c.Channel] = n
			out = append(out, Course{Channel: c.Channel})
		}
		out[n].Time, out[n].Mean = append(out[n].Time, c.Time...), append(out[n].Mean, c.Mean...)
	})
	for k := range out {
		out[k].Min, out[k].Max = out[k].Mean, out[k].Mean
	}
	return out, err
}

// Each is part of Source.
func (r *Recording) Each(ctx context.Context, kind reading.Kind, from, to time.Time, fn func(*Course)) error {
	lo, hi := from.UnixNano(), to.UnixNano()
	past := errors.New("past")
	var c Course
	err := r.blocks(func(b *reading.Block) error {
		earliest := int64(math.MaxInt64)
		for i := range b.Series {
			s := &b.Series[i]
			if s.Len() > 0 {
				earliest = min(earliest, s.Time[0])
			}
			if s.Channel.Kind != kind {
				continue
			}
			c.Channel, c.Time, c.Mean = s.Channel, c.Time[:0], c.Mean[:0]
			for k, t := range s.Time {
				if t >= lo && t < hi && s.QualityAt(k) == reading.Good {
					c.Time, c.Mean = append(c.Time, t), append(c.Mean, s.Value[k])
				}
			}
			if c.Min, c.Max = c.Mean, c.Mean; len(c.Time) > 0 {
				fn(&c)
			}
		}
		if earliest != math.MaxInt64 && earliest > hi+int64(time.Minute) {
			return past
		}
		return ctx.Err()
	})
	if errors.Is(err, past) {
		return nil
	}
	return err
}

// Bad is part of Source.
func (r *Recording) Bad(_ context.Context, from, to time.Time) (map[string]int, error) {
	out := map[string]int{}
	for line, times := range r.bad {
		for _, t := range times {
			if t >= from.UnixNano() && t < to.UnixNano() {
				out[line]++
			}
		}
	}
	return out, nil
}
