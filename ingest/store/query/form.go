package query

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/prometheus/common/model"
)

// form is a request's parameters. The first mistake in them stays.
type form struct {
	values url.Values
	err    error
}

// badData is a mistake of the caller.
type badData struct{ error }

func readForm(r *http.Request) *form {
	if err := r.ParseForm(); err != nil {
		return &form{values: url.Values{}, err: badData{err}}
	}
	return &form{values: r.Form}
}

func (f *form) fail(format string, args ...any) {
	if f.err == nil {
		f.err = badData{fmt.Errorf(format, args...)}
	}
}

func (f *form) text(name string) string { return f.values.Get(name) }

// number reads seconds; ok is false for what is none.
func number(text string) (seconds float64, ok bool) {
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && math.Abs(v) < 9e9 // the year 2255
}

// time reads a time, in Unix seconds or RFC 3339.
func (f *form) time(name string, missing time.Time) time.Time {
	text := f.text(name)
	if text == "" {
		return missing
	}
	if v, ok := number(text); ok {
		return time.UnixMilli(int64(math.Round(v * 1000))).UTC()
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil || t.Year() < 1970 || t.Year() > 2255 {
		f.fail("%s: %q is neither Unix seconds nor an RFC 3339 time", name, text)
	}
	return t
}

// duration reads a duration, in seconds or as 5m; 0 where there is none.
func (f *form) duration(name string) time.Duration {
	text := f.text(name)
	if text == "" {
		return 0
	}
	if v, ok := number(text); ok && v >= 0 {
		return time.Duration(v * float64(time.Second))
	}
	d, err := model.ParseDuration(text)
	if err != nil {
		f.fail("%s: %q is no duration such as 15 (seconds) or 5m", name, text)
	}
	return time.Duration(d)
}

// limit is the most series or texts to give, 0 for all.
func (f *form) limit() int {
	text := f.text("limit")
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		f.fail("limit: %q is no whole number of 0 or more", text)
	}
	return n
}
