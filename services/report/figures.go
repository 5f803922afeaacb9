package report

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/services/alarm"
)

// Figures are what a report says in numbers.
type Figures struct {
	Input
	From, To time.Time // the time that loads are reckoned over
	Step     time.Duration
	Lines    []Line // in the plan's order
	Moments  []Moment
	Works    []Work
	Wind     Weather
	Water    Range // level, m above chart datum
	// Draft forward and aft at the beginning and the end, m; NaN where not told.
	DraftFwd, DraftAft [2]float64
	Gaps               []Gap // of the whole berth, a minute or more
	Usual              time.Duration
	Alarms             []alarm.State // in the stay, oldest first

	wind, direction, level, fwd, aft Course
}

// Line is one line's loads over the time.
type Line struct {
	*mooring.Line
	WorkingKN        float64
	Min, Mean, Max   float64 // kN; NaN where there is nothing
	MaxAt            time.Time
	Above            []time.Duration // at or over each of Bands, of MBL
	OverLimit        time.Duration   // at or over the working load limit
	Measured, Faulty time.Duration   // with readings to be believed; with a pin at fault
	LongestGap       time.Duration
	Bad              int
	Worked           int
	Service          Service

	course Course
}

// Bands are the shares of MBL that hours are counted over.
func Bands() []float64 { return []float64{0.2, 0.3, 0.4, 0.5} }

// Moment is one of the worst.
type Moment struct {
	At    time.Time
	Line  int     // of the plan
	KN    float64 // of a parting, the load it parted at; NaN where that is not known
	Parts bool
	Lines []int    // that are shown, the worst first
	Loads []Course // of those
	Wind  Course
}

// Work is a line worked with its brake released.
type Work struct {
	Line              int
	From              time.Time
	Long              time.Duration
	PaidM             float64 // positive paid out, negative hove in; NaN where not told
	BeforeKN, AfterKN float64 // mean load of the minute before and after
}

// Weather is the wind over the time.
type Weather struct {
	MeanMS, MaxMS float64 // NaN where there is none
	MaxAt         time.Time
	MaxFrom       float64 // degrees; NaN where not told
	HighestMS     float64 // the highest mean over ten minutes
}

// Range is the least and the greatest with their times.
type Range struct {
	Lo, Hi     float64
	LoAt, HiAt time.Time
}

// Gap is a time without any reading.
type Gap struct {
	From time.Time
	Long time.Duration
}

// Reckon works out the figures.
func Reckon(ctx context.Context, in Input) (*Figures, error) {
	f := &Figures{Input: in}
	f.From, f.To = span(&in.Stay)
	if in.Stay.End().Sub(in.Stay.Arrival) > longestStay {
		return nil, ErrLong
	}
	f.Step = stepOf(f.From, f.To)
	f.Alarms = slices.DeleteFunc(slices.Clone(in.Alarms), func(s alarm.State) bool {
		return s.Raised.After(in.Stay.End()) || s.Raised.Before(in.Stay.Arrival) // another ship's
	})
	for _, part := range []func(context.Context) error{f.loads, f.surroundings, f.tending, f.worst, f.service} {
		if err := part(ctx); err != nil {
			return nil, fmt.Errorf("stay %s: %w", in.Stay.ID, err)
		}
	}
	return f, nil
}

// loads reckons each line's.
func (f *Figures) loads(ctx context.Context) error {
	courses, err := f.Source.Reduced(ctx, reading.Tension, f.From, f.To, f.Step)
	if err != nil {
		return err
	}
	bad, err := f.Source.Bad(ctx, f.From, f.To)
	if err != nil {
		return err
	}
	f.Lines = make([]Line, len(f.Plan.Lines))
	for i := range f.Lines {
		l := &f.Lines[i]
		l.Line, l.WorkingKN = &f.Plan.Lines[i], f.Plan.WorkingLoadKN(i)
		l.Bad = bad[l.ID]
		for k := range courses {
			if courses[k].Channel.Line == l.ID {
				l.course = courses[k]
			}
		}
		f.load(l)
	}
	if f.hardest() < 0 {
		return ErrNothing
	}
	f.gaps(courses)
	return f.usual(ctx)
}

// load reckons one line's from its course, without the time that its pin was at fault.
func (f *Figures) load(l *Line) {
	l.Min, l.Mean, l.Max = math.NaN(), math.NaN(), math.NaN()
	l.Above = make([]time.Duration, len(Bands()))
	var sum float64
	n := 0
	faults := f.faults(l.ID)
	c := &l.course
	kept := Course{Channel: c.Channel}
	last := f.From.UnixNano()
	for k, at := range c.Time {
		l.LongestGap = max(l.LongestGap, time.Duration(at-last))
		last = at + int64(f.Step)
		if inAny(faults, at, at+int64(f.Step)) {
			l.Faulty += f.Step
			continue
		}
		kept.Time = append(kept.Time, at)
		kept.Min, kept.Mean, kept.Max = append(kept.Min, c.Min[k]), append(kept.Mean, c.Mean[k]), append(kept.Max, c.Max[k])
		n++
		sum += c.Mean[k]
		if below(c.Min[k], l.Min) {
			l.Min = c.Min[k]
		}
		if above(c.Max[k], l.Max) {
			l.Max, l.MaxAt = c.Max[k], time.Unix(0, at).UTC()
		}
		for b, share := range Bands() {
			if c.Mean[k] >= share*l.MBLkN {
				l.Above[b] += f.Step
			}
		}
		if c.Mean[k] >= l.WorkingKN {
			l.OverLimit += f.Step
		}
	}
	l.LongestGap = max(l.LongestGap, time.Duration(f.To.UnixNano()-last))
	if n > 0 {
		l.Mean = sum / float64(n)
	}
	l.Measured = time.Duration(n) * f.Step
	l.course = kept
}

// below and above compare a value with the least and the greatest so far, NaN for none.
func below(v, least float64) bool { return !(least <= v) }
func above(v, most float64) bool  { return !(most >= v) }

type interval struct{ from, to int64 }

// faults are the times at which a line's pin was at fault by the alarms.
func (f *Figures) faults(line string) (out []interval) {
	for _, s := range f.Alarms {
		if s.Line != line || s.Condition != detect.SensorFault.String() {
			continue
		}
		v := interval{s.Raised.UnixNano(), math.MaxInt64}
		if !s.Onset.IsZero() {
			v.from = s.Onset.UnixNano()
		}
		if !s.Active() {
			v.to = s.Cleared.UnixNano()
		}
		out = append(out, v)
	}
	return out
}

func inAny(all []interval, from, to int64) bool {
	return slices.ContainsFunc(all, func(v interval) bool { return from < v.to && to > v.from })
}

// gaps are the times in which no pin of the berth sent anything.
func (f *Figures) gaps(courses []Course) {
	var times []int64
	for k := range courses {
		times = append(times, courses[k].Time...)
	}
	slices.Sort(times)
	last := f.From.UnixNano()
	hole := func(to int64) {
		if long := time.Duration(to - last); long >= time.Minute {
			f.Gaps = append(f.Gaps, Gap{time.Unix(0, last).UTC(), long})
		}
	}
	for _, at := range times {
		hole(at)
		last = max(last, at+int64(f.Step))
	}
	hole(f.To.UnixNano())
}

// usual is the middling time between two readings of a load pin at the beginning.
func (f *Figures) usual(ctx context.Context) error {
	courses, err := f.Source.Plain(ctx, reading.Tension, f.From, f.From.Add(10*time.Minute))
	if err != nil {
		return err
	}
	var apart []int64
	for _, c := range courses {
		for k := 1; k < len(c.Time); k++ {
			apart = append(apart, c.Time[k]-c.Time[k-1])
		}
	}
	if len(apart) > 0 {
		slices.Sort(apart)
		f.Usual = time.Duration(apart[len(apart)/2])
	}
	return nil
}

// hardest is the line with the highest peak by its working load limit; -1 for none.
func (f *Figures) hardest() int {
	most := -1
	for i := range f.Lines {
		if l := &f.Lines[i]; l.Measured > 0 && (most < 0 || l.Max/l.WorkingKN > f.Lines[most].Max/f.Lines[most].WorkingKN) {
			most = i
		}
	}
	return most
}

// byShare orders lines by a load's share of MBL, the most first.
func (f *Figures) byShare(kN []float64) []int {
	order := make([]int, len(kN))
	for i := range order {
		order[i] = i
	}
	share := func(i int) float64 {
		if math.IsNaN(kN[i]) {
			return -1
		}
		return kN[i] / f.Lines[i].MBLkN
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(share(b), share(a)) })
	return order
}
