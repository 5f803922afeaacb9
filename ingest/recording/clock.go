package recording

import (
	"errors"
	"fmt"
	"time"
)

// clock reads the times of a file, which are all of the form of its first row.
type clock struct {
	form form
	// minute is the text of the minute read last, and begins its time: rows of one
	// minute follow one another, and a date costs more than the rest of the row.
	minute [17]byte
	begins int64
}

type form uint8

const (
	anyForm form = iota
	rfc3339
	unixMillis
)

const (
	wantRFC    = "RFC 3339 in UTC such as 2026-03-01T04:05:06.700Z"
	wantMillis = "whole Unix milliseconds such as 1772337906700"
	// lastMillis is the end of 2261, the last whole year of int64 nanoseconds.
	lastMillis = 9_214_646_399_999
)

var errYears = errors.New("expected a time from 1970 to 2261")

// parse reads a time as Unix nanoseconds.
func (c *clock) parse(p []byte) (int64, error) {
	var at int64
	var ok bool
	switch c.form {
	case rfc3339:
		at, ok = c.parseRFC(p)
	case unixMillis:
		at, ok = parseMillis(p)
	default:
		if at, ok = parseMillis(p); ok {
			c.form = unixMillis
		} else if at, ok = c.parseRFC(p); ok {
			c.form = rfc3339
		}
	}
	switch {
	case !ok:
		return 0, c.explain(p)
	case at <= 0 || at/1e6 > lastMillis:
		return 0, fmt.Errorf("time %s: %w", quote(p), errYears)
	}
	return at, nil
}

func (c *clock) explain(p []byte) error {
	want := wantRFC + " or " + wantMillis
	_, isMillis := parseMillis(p)
	_, isRFC := new(clock).parseRFC(p)
	switch {
	case c.form == rfc3339 && isMillis:
		want = wantRFC + ", the form of the rows above"
	case c.form == unixMillis && isRFC:
		want = wantMillis + ", the form of the rows above"
	case c.form == rfc3339:
		want = wantRFC
	case c.form == unixMillis:
		want = wantMillis
	}
	return fmt.Errorf("time %s, expected %s", quote(p), want)
}

// parseMillis reads whole milliseconds. Numbers too large for int64 nanoseconds
// give the largest.
func parseMillis(p []byte) (int64, bool) {
	if len(p) == 0 {
		return 0, false
	}
	var n int64
	for _, b := range p {
		if b-'0' > 9 {
			return 0, false
		}
		n = min(n*10+int64(b-'0'), lastMillis+1)
	}
	return n * 1e6, true
}

// parseRFC reads yyyy-mm-ddThh:mm:ss, a fraction of up to nine digits or none,
// and Z or +00:00. A leap second is refused, as by time.Parse.
func (c *clock) parseRFC(p []byte) (int64, bool) {
	if len(p) < 20 {
		return 0, false
	}
	if string(p[:17]) != string(c.minute[:]) {
		if !c.startMinute(p) {
			return 0, false
		}
	}
	seconds, ok := digits(p[17:19])
	if !ok || seconds > 59 {
		return 0, false
	}
	at, p := seconds*1e9, p[19:]
	if p[0] == '.' {
		unit, i := int64(1e8), 1
		for ; i < len(p) && p[i]-'0' <= 9; i++ {
			at += unit * int64(p[i]-'0')
			if unit == 0 {
				return 0, false
			}
			unit /= 10
		}
		if i == 1 {
			return 0, false
		}
		p = p[i:]
	}
	if zone := string(p); zone != "Z" && zone != "z" && zone != "+00:00" {
		return 0, false
	}
	return c.begins + at, true
}

// startMinute reads "2026-03-01T04:05:" and remembers it.
func (c *clock) startMinute(p []byte) bool {
	year, ok1 := digits(p[0:4])
	month, ok2 := digits(p[5:7])
	day, ok3 := digits(p[8:10])
	hour, ok4 := digits(p[11:13])
	minute, ok5 := digits(p[14:16])
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 || hour > 23 || minute > 59 ||
		p[4] != '-' || p[7] != '-' || p[10] != 'T' && p[10] != 't' || p[13] != ':' || p[16] != ':' {
		return false
	}
	t := time.Date(int(year), time.Month(month), int(day), int(hour), int(minute), 0, 0, time.UTC)
	if t.Month() != time.Month(month) || t.Day() != int(day) {
		return false // such as 31 April, which Date takes for 1 May
	}
	copy(c.minute[:], p)
	c.begins = min(max(t.Unix(), -60), lastMillis/1000+1) * 1e9 // years beyond are refused later
	return true
}

func digits(p []byte) (int64, bool) {
	var n int64
	for _, b := range p {
		if b-'0' > 9 {
			return 0, false
		}
		n = n*10 + int64(b-'0')
	}
	return n, true
}
