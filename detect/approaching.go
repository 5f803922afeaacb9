package detect

import (
	"fmt"
	"math"
)

// approaching warns of a line on its way to its working load limit. It is raised when
// the line's 60 s mean has been at or above the plan's approach fraction of the limit
// for 10 s, or when its slow trend reaches the limit within the plan's minutes. It is
// cleared when the mean has been under 0.85 of that fraction, with no such trend, for
// 150 s, as for the limit itself. kN.
//
// The trend is the regression line of the last 20 one-minute means. It counts only
// where it is a ramp and not a squall: both halves rise, the means keep near the line,
// and the rise is not negligible. Source: common practice, no source.
const ( // delays in seconds
	approachOn   = 10
	approachOff  = 150
	approachBand = 0.85
	trendSpan    = 20   // minutes
	trendRise    = 0.08 // of the limit, least rise over the span
	trendRough   = 0.15 // of the rise, most that the means deviate from the line, rms
)

// trend holds a line's one-minute means, kN.
type trend struct {
	Means [trendSpan]float64
	Count int64 // minutes closed in a row
	// Slope is in kN a minute; Steady says whether it counts as a trend.
	Slope  float64
	Steady bool
}

// approaching is the second's step of every line.
func (b *Berth) approaching(now moment) {
	lim := &b.plan.Limits
	for i := range b.state.Lines {
		l := &b.state.Lines[i]
		if now.Time%(60*second) == 0 {
			l.Trend.minute(l.MinuteMean, l.MinuteMeanOK && b.comparable(now, i), b.plan.WorkingLoadKN(i))
		}
		if !b.monitored(now, i) || !l.MinuteMeanOK {
			l.Approach.pause()
			continue
		}
		limit := b.plan.WorkingLoadKN(i)
		near, mean := lim.ApproachFraction*limit, l.MinuteMean
		remaining := math.Inf(1) // minutes
		if l.Trend.Steady {
			remaining = max(0, (limit-mean)/l.Trend.Slope)
			b.report(TimeToLimit, i, remaining, lim.ApproachMinutes)
		}
		b.report(MinuteMean, i, mean, near)
		soon := remaining <= lim.ApproachMinutes
		c := Change{Condition: ApproachingLimit, Value: mean, Limit: limit, HasLimit: true, Unit: "kN"}
		switch l.Approach.step((mean >= near || soon) && !b.suppressed(now, i), mean < approachBand*near && !soon, approachOn, approachOff) {
		case rose:
			c.Onset = now.Time - int64(approachOn)*second
			if c.By = MinuteMean; mean >= near {
				advice := "; tend it before it gets there"
				if l.Overload.Up {
					advice = ", and has been over it; keep clear of the line and ease it"
				}
				c.Detail = fmt.Sprintf("Line %s stands at %.0f kN (%s of MBL), %.0f %% of its working load limit of %.0f kN%s.",
					b.id(i), mean, b.percent(i, mean), 100*mean/limit, limit, advice)
			} else {
				c.By = TimeToLimit
				c.Detail = fmt.Sprintf("Line %s stands at %.0f kN (%s of MBL) and rises %.0f kN in 10 min, to its working load limit of %.0f kN in about %.0f min; tend it before it gets there.",
					b.id(i), mean, b.percent(i, mean), 10*l.Trend.Slope, limit, remaining)
			}
			b.raise(now, i, c)
		case fell:
			c.Detail = fmt.Sprintf("Line %s stands at %.0f kN, %.0f %% of its working load limit of %.0f kN.", b.id(i), mean, 100*mean/limit, limit)
			b.clear(now, i, c)
		}
	}
}

// minute closes a minute with its mean, kN; where ok is false there is none to trust
// and the trend restarts. limit is the line's working load limit.
func (t *trend) minute(mean float64, ok bool, limit float64) {
	t.Steady = false
	if !ok {
		t.Count = 0
		return
	}
	t.Means[t.Count%trendSpan] = mean
	t.Count++
	if t.Count < trendSpan {
		return
	}
	slope, rms := t.line(0, trendSpan)
	early, _ := t.line(0, trendSpan/2)
	late, _ := t.line(trendSpan/2, trendSpan)
	rise := slope * (trendSpan - 1)
	t.Slope = min(slope, late)
	t.Steady = early > slope/3 && late > slope/3 && rise >= trendRise*limit && rms <= trendRough*rise
}

// line is the regression line of the means from..to, oldest first: its slope in kN a
// minute and the root mean square of the residuals.
func (t *trend) line(from, to int64) (slope, rms float64) {
	n := float64(to - from)
	var sy, sxy, sxx, syy float64
	mid := (n - 1) / 2
	for k := from; k < to; k++ {
		sy += t.Means[(t.Count+k)%trendSpan]
	}
	for k := from; k < to; k++ {
		x, y := float64(k-from)-mid, t.Means[(t.Count+k)%trendSpan]-sy/n
		sxy, sxx, syy = sxy+x*y, sxx+x*x, syy+y*y
	}
	slope = sxy / sxx
	return slope, math.Sqrt(max(0, syy-slope*sxy) / n)
}
