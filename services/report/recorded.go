package report

import (
	"context"
	"errors"
	"io"
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
	type place struct {
		kind reading.Kind
		at   int
	}
	places := map[reading.Channel]place{}
	counts := map[reading.Channel]float64{}
	err := r.blocks(func(b *reading.Block) error {
		for i := range b.Series {
			s := &b.Series[i]
			p, ok := places[s.Channel]
			if !ok {
				p = place{s.Channel.Kind, len(r.steps[s.Channel.Kind])}
				places[s.Channel] = p
				r.steps[p.kind] = append(r.steps[p.kind], Course{Channel: s.Channel})
			}
			c := &r.steps[p.kind][p.at]
			for k, t := range s.Time {
				switch q := s.QualityAt(k); {
				case q == reading.Bad:
					if s.Channel.Kind == reading.Tension {
						r.bad[s.Channel.Line] = append(r.bad[s.Channel.Line], t)
					}
				case q == reading.Good:
					counts[s.Channel] = c.add(t, s.Value[k], fineStep, counts[s.Channel])
				}
			}
		}
		if look != nil {
			return look(b)
		}
		return nil
	})
	for kind := range r.steps {
		for k := range r.steps[kind] {
			r.steps[kind][k].end(counts[r.steps[kind][k].Channel])
		}
	}
	return r, err
}

// add adds a reading to the newest step; n is how many that has, and Mean holds their
// sum until end.
func (c *Course) add(t int64, v float64, step time.Duration, n float64) float64 {
	t -= t % int64(step)
	last := len(c.Time) - 1
	if last < 0 || t > c.Time[last] {
		c.end(n)
		c.Time = append(c.Time, t)
		c.Min, c.Mean, c.Max = append(c.Min, v), append(c.Mean, v), append(c.Max, v)
		return 1
	}
	// A reading that is late by less than the recording's own bound counts to the
	// newest step.
	c.Min[last], c.Mean[last], c.Max[last] = min(c.Min[last], v), c.Mean[last]+v, max(c.Max[last], v)
	return n + 1
}

func (c *Course) end(n float64) {
	if last := len(c.Time) - 1; last >= 0 {
		c.Mean[last] /= n
	}
}

func (r *Recording) blocks(fn func(*reading.Block) error) error {
	in, err := recording.Open(r.path, recording.Options{Window: time.Second})
	if err != nil {
		return err
	}
	defer in.Close()
	for {
		b, err := in.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = fn(b)
		}
		if err != nil {
			return err
		}
	}
}

// Reduced is part of Source. Steps are whole times ten seconds.
func (r *Recording) Reduced(_ context.Context, kind reading.Kind, from, to time.Time, step time.Duration) ([]Course, error) {
	var out []Course
	for _, c := range r.steps[kind] {
		d := Course{Channel: c.Channel}
		var n float64
		for k, t := range c.Time {
			if t < from.UnixNano()-from.UnixNano()%int64(step) || t >= to.UnixNano() {
				continue
			}
			at := t - t%int64(step)
			if last := len(d.Time) - 1; last >= 0 && d.Time[last] == at {
				d.Min[last], d.Mean[last], d.Max[last] = min(d.Min[last], c.Min[k]), d.Mean[last]+c.Mean[k], max(d.Max[last], c.Max[k])
				n++
				continue
			}
			d.end(n)
			d.Time, n = append(d.Time, at), 1
			d.Min, d.Mean, d.Max = append(d.Min, c.Min[k]), append(d.Mean, c.Mean[k]), append(d.Max, c.Max[k])
		}
		d.end(n)
		if len(d.Time) > 0 {
			out = append(out, d)
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
