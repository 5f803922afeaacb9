package plot

import (
	"math"
	"strconv"
	"time"
)

// ticks are round values from lo to hi, about n of them, two at least where there is
// room for a scale.
func ticks(lo, hi float64, n int) (at []float64) {
	for at = about(lo, hi, n); len(at) < 2 && n < 12; n++ {
		at = about(lo, hi, n)
	}
	return at
}

func about(lo, hi float64, n int) (at []float64) {
	raw := (hi - lo) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range [...]float64{1, 2, 5, 10} {
		if m*step >= 0.7*raw {
			step *= m
			break
		}
	}
	for k := math.Ceil(lo / step); k*step <= hi; k++ {
		at = append(at, k*step)
	}
	return at
}

// Number is a number as short as it can be told, with a true minus.
func Number(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'g', 6, 64)
	if s[0] == '-' {
		s = "−" + s[1:]
	}
	return s
}

// moment is a place on the axis of time: its name, and whether a day begins there.
type moment struct {
	at   int64
	name string
	day  bool
}

// clock are round times of a zone from one to another, at most n: whole minutes,
// hours or days as they stand on its clocks, also on a day of 23 or 25 hours.
func clock(from, to int64, zone *time.Location, n int) (out []moment) {
	minutes := [...]int{1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720, 1440, 2880, 5760, 10080, 20160, 40320}
	every := minutes[len(minutes)-1]
	for _, m := range minutes {
		if (to-from)/(int64(m)*int64(time.Minute)) < int64(n) {
			every = m
			break
		}
	}
	begin := time.Unix(0, from).In(zone)
	day := time.Date(begin.Year(), begin.Month(), begin.Day(), 0, 0, 0, 0, zone)
	for k := 0; ; k++ {
		var t time.Time
		if every >= 1440 {
			t = day.AddDate(0, 0, k*every/1440)
		} else {
			t = time.Date(day.Year(), day.Month(), day.Day(), 0, k*every, 0, 0, zone)
		}
		switch ns := t.UnixNano(); {
		case ns > to:
			return out
		case ns < from, len(out) > 0 && ns <= out[len(out)-1].at: // an hour that the clocks leave out
		default:
			m := moment{at: ns, name: t.Format("15:04"), day: t.Hour() == 0 && t.Minute() == 0}
			if m.day {
				m.name = t.Format("2 Jan")
			}
			out = append(out, m)
		}
	}
}
