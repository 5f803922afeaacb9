package report

import (
	"context"
	"math"
	"slices"
	"time"

	"hawser/detect/reading"
)

// oneWork is the longest time between two steps with the brake released that are one
// work of the line.
const oneWork = time.Minute

// tending finds when lines were worked: their brakes released, under watch. Lines on
// bitts do not tell.
func (f *Figures) tending(ctx context.Context) error {
	brakes, err := f.Source.Reduced(ctx, reading.Brake, f.From, f.To, fineStep)
	if err != nil {
		return err
	}
	payouts, err := f.Source.Reduced(ctx, reading.Payout, f.From, f.To, fineStep)
	if err != nil {
		return err
	}
	paid := map[string]*Course{}
	for k := range payouts {
		paid[payouts[k].Channel.Line] = &payouts[k]
	}
	for _, c := range brakes {
		i := f.Plan.Line(c.Channel.Line)
		if i < 0 {
			continue
		}
		var from, to int64
		end := func() {
			if to > 0 {
				f.Works = append(f.Works, f.work(i, from, to, paid[c.Channel.Line]))
				f.Lines[i].Worked++
			}
		}
		for k, t := range c.Time {
			switch {
			case c.Min[k] >= 0.5: // set all through
			case to > 0 && t-to <= int64(oneWork):
				to = t + int64(fineStep)
			default:
				end()
				from, to = t, t+int64(fineStep)
			}
		}
		end()
	}
	slices.SortStableFunc(f.Works, func(a, b Work) int { return a.From.Compare(b.From) })
	return nil
}

func (f *Figures) work(i int, from, to int64, paid *Course) Work {
	w := Work{Line: i, From: time.Unix(0, from).UTC(), Long: time.Duration(to - from), PaidM: math.NaN()}
	loads := &f.Lines[i].course
	w.BeforeKN, w.AfterKN = mean(loads, from-int64(time.Minute), from), mean(loads, to, to+int64(time.Minute))
	if paid != nil {
		w.PaidM = mean(paid, to, to+int64(time.Minute)) - mean(paid, from-int64(time.Minute), from)
	}
	return w
}

// mean is the mean of the steps that begin from one time and before another; NaN where
// there are none.
func mean(c *Course, from, to int64) float64 {
	k, _ := slices.BinarySearch(c.Time, from)
	var sum, n float64
	for ; k < len(c.Time) && c.Time[k] < to; k++ {
		sum, n = sum+c.Mean[k], n+1
	}
	return sum / n
}
