package detect

import "fmt"

// overLimit watches every line's load against its working load limit. It is raised when
// the 1 s mean has been at or above the limit for 3 s, and cleared when it has been
// under 0.85 of it for 150 s. Gusts, a passing ship and a slow swell lift a line to its
// limit again and again, a minute or two apart: while it keeps near the limit that is
// one excess; what comes after it has been well clear of it for longer is another. A
// line tended with its brake released raises nothing. kN.
//
// Source: working load limits as in mooring.Plan.WorkingLoadKN; a band and an off-delay
// against chatter as in OPC 10000-9 annex B, their sizes common practice, no source.
const (
	overOn   = 3 * ticksPerSecond
	overOff  = 150 * ticksPerSecond
	overBand = 0.85
)

// overLimit is the tick's step of every line.
func (b *Berth) overLimit(now moment) {
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if !b.monitored(now, i) {
			l.Overload.pause()
			continue
		}
		limit := b.plan.WorkingLoadKN(i)
		load := l.Pin.lastSecond()
		b.report(SecondMean, i, load, limit)
		switch l.Overload.step(load >= limit && !b.suppressed(now, i), load < overBand*limit, overOn, overOff) {
		case rose:
			b.raise(now, i, Change{Condition: OverLimit, By: SecondMean, Onset: now.Time - int64(overOn)*tickLength,
				Value: load, Limit: limit, HasLimit: true, Unit: "kN",
				Detail: fmt.Sprintf("Line %s at %.0f kN (%s of MBL), over its working load limit of %.0f kN; keep clear of the line and ease it.",
					b.id(i), load, b.percent(i, load), limit)})
		case fell:
			if !b.hasPayout(now, i) {
				l.Fit.Age = 0 // it may have slipped meanwhile: its fit restarts
			}
			b.clear(now, i, Change{Condition: OverLimit,
				Value: load, Limit: limit, HasLimit: true, Unit: "kN",
				Detail: fmt.Sprintf("Line %s back to %.0f kN, well under its working load limit of %.0f kN.", b.id(i), load, limit)})
		}
	}
}
