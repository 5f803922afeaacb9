package main

import (
	"fmt"
	"strconv"
	"time"
)

// moment is a flag that is a time, zero where it was not given.
type moment struct{ time.Time }

func (m *moment) Type() string { return "TIME" }

func (m *moment) String() string {
	if m.IsZero() {
		return ""
	}
	return m.Format(time.RFC3339Nano)
}

// Set reads a time as recordings have it: RFC 3339, or whole Unix milliseconds.
func (m *moment) Set(text string) error {
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		m.Time = at.UTC()
		return nil
	}
	if ms, err := strconv.ParseInt(text, 10, 64); err == nil && ms > 0 && ms <= lastMillis {
		m.Time = time.UnixMilli(ms).UTC()
		return nil
	}
	return fmt.Errorf("expected RFC 3339 such as 2026-03-01T04:05:00Z, or Unix milliseconds")
}

// lastMillis is the end of 2261, as in recordings.
const lastMillis = 9_214_646_399_999
