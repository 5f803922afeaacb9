package detect

import "fmt"

// overLimit watches every line's load against its working load limit: raised
// when the 1 s mean has stood at or above the limit for 3 s, cleared when it
// has stood under 0.97 of it for 5 min: in gusts that come and go that is one
// excess, not one a gust. kN. Source: working load limits as in
// mooring.Plan.WorkingLoadKN; the delays are common practice, no source. A line
// worked with its brake released raises nothing.
const (
	overOn   = 3 * perSecond
	overOff  = 300 * perSecond
	overBand = 0.97
)

func (b *Berth) overLimit(now moment) {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if !b.watched(now, i) {
			l.Over.pause()
			continue
		}
		limit := b.plan.WorkingLoadKN(i)
		load := l.Pin.second1()
		b.weigh(LoadSecond, i, load, limit)
		switch l.Over.step(load >= limit && !b.spared(now, i), load < overBand*limit, overOn, overOff) {
		case rose:
			b.raise(now, i, Change{Condition: OverLimit, By: LoadSecond, Onset: now.Time - int64(overOn)*tickLength,
				Value: load, Limit: limit, HasLimit: true, Unit: "kN",
				Detail: fmt.Sprintf("Line %s at %.0f kN (%s of MBL), over its working load limit of %.0f kN; keep clear of the line and ease it.",
					b.id(i), load, b.percent(i, load), limit)})
		case fell:
			b.clear(now, i, Change{Condition: OverLimit,
				Value: load, Limit: limit, HasLimit: true, Unit: "kN",
				Detail: fmt.Sprintf("Line %s back to %.0f kN, under its working load limit of %.0f kN.", b.id(i), load, limit)})
		}
	}
}
