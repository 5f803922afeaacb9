package recording

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"time"
)

// clock reads the times of a file, which are all of the form of its first row.
type clock struct{ form form }

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
	var millis, nanos int64
	var ok bool
	switch c.form {
	case rfc3339:
		millis, nanos, ok = parseRFC(p)
	case unixMillis:
		millis, ok = parseMillis(p)
	default:
		if millis, ok = parseMillis(p); ok {
			c.form = unixMillis
		} else if millis, nanos, ok = parseRFC(p); ok {
			c.form = rfc3339
		}
	}
	switch at := millis*1e6 + nanos; {
	case !ok:
		return 0, c.explain(p)
	case millis < 0 || millis > lastMillis || at == 0:
		return 0, fmt.Errorf("time %s: %w", quote(p), errYears)
	default:
		return at, nil
	}
}

func (c *clock) explain(p []byte) error {
	want := wantRFC + " or " + wantMillis
	_, isMillis := parseMillis(p)
	_, _, isRFC := parseRFC(p)
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

// parseMillis reads whole milliseconds. A number too large gives the largest.
func parseMillis(p []byte) (millis int64, ok bool) {
	n, err := strconv.ParseUint(string(p), 10, 64)
	return int64(min(n, lastMillis+1)), err == nil || errors.Is(err, strconv.ErrRange)
}

// parseRFC reads a time of RFC 3339 in UTC, with a T and a Z of either case.
func parseRFC(p []byte) (millis, nanos int64, ok bool) {
	var t time.Time
	err := t.UnmarshalText(p)
	if err != nil {
		p = bytes.ToUpper(p)
		err = t.UnmarshalText(p)
	}
	ok = err == nil && (bytes.HasSuffix(p, []byte("Z")) || bytes.HasSuffix(p, []byte("+00:00")))
	return t.UnixMilli(), int64(t.Nanosecond() % 1e6), ok
}
