package roll

import "time"

// Span is the readings that are reckoned at once. Every resolution divides it.
const Span = 10 * time.Minute

// Resolution is one of the steps that rolls are kept of.
type Resolution uint8

// The resolutions, from the finest.
const (
	Second Resolution = iota
	TenSeconds
	Minute
	TenMinutes
	resolutions
)

var (
	steps = [resolutions]time.Duration{time.Second, 10 * time.Second, time.Minute, Span}
	names = [resolutions]string{"1s", "10s", "1m", "10m"}
)

// Resolutions are all there are, from the finest.
func Resolutions() []Resolution { return []Resolution{Second, TenSeconds, Minute, TenMinutes} }

// Step is the time that one roll is of.
func (r Resolution) Step() time.Duration { return steps[r] }

// String is the step as it is written in settings and names: "10s", "1m".
func (r Resolution) String() string { return names[r] }

// Coarsest is the coarsest resolution whose rolls make up a step exactly; ok is
// false where none does.
func Coarsest(step time.Duration) (r Resolution, ok bool) {
	for r := range resolutions {
		if r := resolutions - 1 - r; step > 0 && step%r.Step() == 0 {
			return r, true
		}
	}
	return 0, false
}

// Floor takes a time down to a whole step from the Unix epoch, both nanoseconds.
func Floor(t, step int64) int64 {
	over := t % step
	if over < 0 {
		over += step
	}
	return t - over
}

// Reduce takes rolls, ordered by time and finer, to those of a step, ns. It works
// in place.
func Reduce(rolls []Roll, step int64) []Roll {
	out := rolls[:0]
	for i := range rolls {
		t := Floor(rolls[i].Time, step)
		if n := len(out); n > 0 && out[n-1].Time == t {
			out[n-1].Merge(&rolls[i])
			continue
		}
		out = append(out, rolls[i])
		out[len(out)-1].Time = t
	}
	return out
}
