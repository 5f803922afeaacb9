package report

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// whole is a number without digits behind the point, a dash where there is none.
func whole(v float64) string { return digits(v, 0) }

// digits is a number with a true minus and thousands set apart.
func digits(v float64, n int) string {
	if math.IsNaN(v) {
		return "–"
	}
	s := fmt.Sprintf("%.*f", n, math.Abs(v))
	whole, rest, _ := strings.Cut(s, ".")
	for k := len(whole) - 3; k > 0 && len(whole) > 4; k -= 3 {
		whole = whole[:k] + "," + whole[k:]
	}
	if rest != "" {
		whole += "." + rest
	}
	if v < 0 && strings.Trim(s, "0.") != "" {
		whole = "−" + whole
	}
	return whole
}

func percent(share float64) string {
	if math.IsNaN(share) {
		return "–"
	}
	return digits(100*share, 0) + " %"
}

// long is a time in words, to two units.
func long(d time.Duration) string {
	d = d.Round(time.Second)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < time.Hour:
		return two(int(d.Minutes()), "min", int(d.Seconds())%60, "s")
	case d < 24*time.Hour:
		d = d.Round(time.Minute)
		return two(int(d.Hours()), "h", int(d.Minutes())%60, "min")
	}
	d = d.Round(time.Hour)
	return two(int(d.Hours())/24, "d", int(d.Hours())%24, "h")
}

func two(a int, unit string, b int, lower string) string {
	if b == 0 {
		return fmt.Sprintf("%d %s", a, unit)
	}
	return fmt.Sprintf("%d %s %d %s", a, unit, b, lower)
}

// hours is a time in hours for a table; a dash for nothing.
func hours(d time.Duration) string {
	switch {
	case d == 0:
		return "–"
	case d < 36*time.Second:
		return "< 0.01"
	}
	return digits(d.Hours(), 2)
}

// knots of metres a second: a nautical mile is 1852 m.
func knots(ms float64) float64 { return ms * 3600 / 1852 }

func wind(ms float64) string {
	return fmt.Sprintf("%s m/s (%s kn)", digits(ms, 1), digits(knots(ms), 0))
}

// Zone is a time zone by its name in the IANA database; nil for UTC.
func Zone(name string) (*time.Location, error) {
	if name == "" || name == "UTC" {
		return nil, nil
	}
	zone, err := time.LoadLocation(name)
	if err != nil || name == "Local" {
		return nil, fmt.Errorf("%q is no time zone such as Europe/London", name)
	}
	return zone, nil
}

// clock writes times: UTC, and the zone's where there is one.
type clock struct{ zone *time.Location }

const (
	dayForm    = "2 Jan 2006"
	minuteForm = "2 Jan 2006 15:04"
)

// full is a time in full: UTC, and local time behind it.
func (c clock) full(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	s := t.UTC().Format(minuteForm) + " UTC"
	if c.zone != nil {
		s += " (" + c.local(t) + ")"
	}
	return s
}

// local is the zone's time and its name and distance from UTC at that time; the day
// only where it is another.
func (c clock) local(t time.Time) string {
	l := t.In(c.zone)
	form := "15:04"
	if l.Format(dayForm) != t.UTC().Format(dayForm) {
		form = "2 Jan 15:04"
	}
	return l.Format(form) + " " + offset(l)
}

// offset is how far a time's zone is from UTC, with its name where it has one.
func offset(t time.Time) string {
	name, seconds := t.Zone()
	sign := "+"
	if seconds < 0 {
		sign, seconds = "−", -seconds
	}
	s := fmt.Sprintf("UTC%s%d", sign, seconds/3600)
	if m := seconds % 3600 / 60; m > 0 {
		s += fmt.Sprintf(":%02d", m)
	}
	if name != "" && name[0] != '+' && name[0] != '-' && name != "UTC" {
		s = name + ", " + s
	}
	return s
}

// short is a time in a table, UTC.
func short(t time.Time) string { return t.UTC().Format("2 Jan 15:04") }

// sharp is a time with its seconds, UTC.
func sharp(t time.Time) string { return t.UTC().Format("2 Jan 15:04:05") }

// many is a count with its noun, which takes an s in the plural.
func many(n int, noun string) string {
	switch n {
	case 0:
		return "no " + noun + "s"
	case 1:
		return "one " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// sentence begins with a capital letter.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
