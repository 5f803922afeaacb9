package detect

import "fmt"

// slackLine watches for lines left hanging. It is raised when a line's 60 s mean has been
// under the plan's slack share of MBL while the rest of its group carry 0.08 of MBL or
// more on average, for 30 s, or for 60 s where hands left it so: the crew may be letting
// go, and the next line tells (see watch). It is cleared when the mean has been over one
// and a half times that share for 120 s and the line does not snatch. A line raised as
// parted or slipped hangs for that reason and is not raised again. Source: delays are
// common practice, no source.
const ( // delays in seconds
	slackRest    = 0.08 // of MBL
	slackOn      = 30
	slackOnLetGo = 60
	slackOff     = 120
	slackBand    = 1.5
)

// slackLine is the second's step of every line.
func (b *Berth) slackLine(now moment) {
	slack := float64(b.plan.Limits.SlackFraction)
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		own, rest, ok := b.shares(now, i)
		if !ok {
			l.Slack.pause()
			continue
		}
		load := own * b.plan.Lines[i].MBLkN
		b.report(SlackMean, i, load, slack*b.plan.Lines[i].MBLkN)
		c := Change{Condition: SlackLine, Value: load, Limit: slack * b.plan.Lines[i].MBLkN, HasLimit: true, Unit: "kN"}
		on := int32(slackOn)
		if l.Handling.LetGoAt != 0 {
			on = slackOnLetGo
		}
		switch l.Slack.step(own < slack && rest >= slackRest && !b.suppressed(now, i) && !l.Slip.Up, own > slackBand*slack && !l.Snap.Latch.Up, on, slackOff) {
		case rose:
			c.By, c.Onset = SlackMean, now.Time-int64(on)*second
			c.Detail = fmt.Sprintf("Line %s hangs slack at %.0f kN while the rest of the %s lines carry %.0f %% of MBL on average; make sure from clear of it that it holds, then heave it in.",
				b.id(i), whole(load), b.plan.Lines[i].Group, 100*rest)
			b.raise(now, i, c)
		case fell:
			c.Detail = fmt.Sprintf("Line %s carries %.0f kN again.", b.id(i), load)
			b.clear(now, i, c)
		}
	}
}
