package intake

import (
	"fmt"
	"math"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	hawserv1 "hawser/proto/hawser/v1"
)

// oddities counts readings that are kept but suspect, as in the schema.
type oddities struct{ late, duplicate, outOfOrder, bad, repeatedBatches uint64 }

func (o *oddities) add(p oddities) {
	o.late += p.late
	o.duplicate += p.duplicate
	o.outOfOrder += p.outOfOrder
	o.bad += p.bad
	o.repeatedBatches += p.repeatedBatches
}

func (o oddities) proto() *hawserv1.Oddities {
	return &hawserv1.Oddities{Late: o.late, Duplicate: o.duplicate, OutOfOrder: o.outOfOrder,
		Bad: o.bad, RepeatedBatches: o.repeatedBatches}
}

// channel is what is remembered of a channel of a source.
type channel struct{ newest int64 }

// verdict is what the check of a batch found.
type verdict struct {
	faults  []fault // by column; valid until the next check
	odd     oddities
	samples int   // in the columns taken
	newest  int64 // of the columns taken, 0 for none
}

// check holds a decoded batch against the plan and the clock and counts what is
// odd. now is the server's clock, limit what no reading may be after, Unix nanoseconds.
func (d *delivery) check(b *reading.Block, undecoded []batch.ColumnFault, bound *binding, now time.Time, limit int64) verdict {
	v := verdict{faults: d.faults[:0]}
	d.src.rebind(bound)
	// Against the newest before this batch: a batch may span minutes.
	floor := d.berth.newest.Load() - reading.Lateness
	for i := range b.Series {
		if len(undecoded) > 0 && undecoded[0].Column == i {
			v.faults = append(v.faults, fromBatch(undecoded[0]))
			undecoded = undecoded[1:]
			continue
		}
		s := &b.Series[i]
		c, reason, text := d.src.channel(s.Channel, bound)
		if c == nil {
			v.faults = append(v.faults, fault{i, s.Channel.String(), reason, text})
			continue
		}
		newest, rising := span(s.Time)
		if newest > limit {
			v.faults = append(v.faults, fault{i, s.Channel.String(), reasonClockAhead, ahead("a reading", newest, now)})
			d.berth.refusedAhead(d.src.name, newest, now)
			continue
		}
		c.judge(s, newest, rising, floor, &v.odd)
		v.samples += s.Len()
		v.newest = max(v.newest, newest)
	}
	d.faults = v.faults
	return v
}

// rebind forgets the channels of lines that the plan does not have, and sets the share.
func (s *source) rebind(b *binding) {
	if s.bound == b {
		return
	}
	s.bound = b
	s.share.of(b)
	for ch := range s.channels {
		if reason, _ := b.fault(ch); reason != "" {
			delete(s.channels, ch)
		}
	}
}

// channel is the memory of a channel, nil with a reason if the plan has no such.
func (s *source) channel(ch reading.Channel, b *binding) (c *channel, reason, text string) {
	if c = s.channels[ch]; c != nil {
		return c, "", ""
	}
	if reason, text = b.fault(ch); reason != "" {
		return nil, reason, text
	}
	c = &channel{}
	s.channels[ch] = c // bounded: three a line of the plan and those of the berth
	return c, "", ""
}

// fault says why the plan has no such channel.
func (b *binding) fault(ch reading.Channel) (reason, text string) {
	if !ch.Kind.OfLine() {
		return "", ""
	}
	hasPin, ok := b.hasPin[ch.Line]
	switch {
	case !ok:
		return reasonNoLine, fmt.Sprintf("the plan has no line %q", ch.Line)
	case ch.Kind == reading.Tension && !hasPin:
		return reasonNoPin, fmt.Sprintf("line %q has no load pin in the plan", ch.Line)
	}
	return "", ""
}

// span is the newest of a column's times, and whether each is after the one
// before it.
func span(times []int64) (newest int64, rising bool) {
	rising = true
	last := int64(math.MinInt64)
	for _, t := range times {
		if t <= last {
			rising = false
		}
		last = t
		newest = max(newest, t)
	}
	return newest, rising
}

// judge counts what is odd in a column and moves the channel's newest on. A
// repeat of a reading that is not the channel's newest counts as out of order.
func (c *channel) judge(s *reading.Series, newest int64, rising bool, floor int64, odd *oddities) {
	if s.Len() == 0 {
		return
	}
	if !rising || s.Quality != nil || s.Time[0] <= c.newest || s.Time[0] < floor {
		c.judgeEach(s, floor, odd)
	}
	c.newest = max(c.newest, newest)
}

func (c *channel) judgeEach(s *reading.Series, floor int64, odd *oddities) {
	last := c.newest
	for i, t := range s.Time {
		q := s.QualityAt(i)
		if q == reading.Bad {
			odd.bad++
		}
		switch {
		case t < max(floor, last-reading.Lateness) || q == reading.Late:
			odd.late++
		case t == last:
			odd.duplicate++
		case t < last:
			odd.outOfOrder++
		}
		last = max(last, t)
	}
}

// ahead says how far a time is ahead of the server's clock.
func ahead(what string, t int64, now time.Time) string {
	at := time.Unix(0, t).UTC()
	return fmt.Sprintf("%s at %s is %s ahead of the server's clock",
		what, at.Format("2006-01-02T15:04:05.000Z"), at.Sub(now).Round(time.Millisecond))
}
