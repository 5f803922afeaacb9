// Package parameter reads what a request to a page or an API holds: its parameters, each
// known and given once, and a text. The error for whoever asked names what is wrong.
package parameter

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Values are those of a request, of which some are known.
type Values struct{ url.Values }

// Read reads the query of a URL, of which two parameters or more are known.
func Read(query string, known ...string) (Values, error) {
	v, err := url.ParseQuery(query)
	if err != nil {
		return Values{}, fmt.Errorf("query: %w", err)
	}
	for _, name := range slices.Sorted(maps.Keys(v)) {
		switch {
		case !slices.Contains(known, name):
			last := len(known) - 1
			return Values{}, fmt.Errorf("%s: no such parameter; there are %s and %s", name, strings.Join(known[:last], ", "), known[last])
		case len(v[name]) > 1:
			return Values{}, fmt.Errorf("%s: given %d times", name, len(v[name]))
		}
	}
	return Values{v}, nil
}

// Need wants some to be given.
func (p Values) Need(names ...string) error {
	for _, name := range names {
		if p.Get(name) == "" {
			return fmt.Errorf("%s: must be given", name)
		}
	}
	return nil
}

// Time is a time in RFC 3339, zero where it is not given.
func (p Values) Time(name string) (t time.Time, err error) {
	text := p.Get(name)
	if text == "" {
		return t, nil
	}
	if t, err = time.Parse(time.RFC3339Nano, text); err != nil {
		return t, fmt.Errorf("%s: %q is no RFC 3339 time", name, text)
	}
	return t, nil
}

// Number is a number, 0 where it is not given.
func (p Values) Number(name string) (v float64, err error) {
	text := p.Get(name)
	if text == "" {
		return 0, nil
	}
	if v, err = strconv.ParseFloat(text, 64); err != nil {
		return 0, fmt.Errorf("%s: must be a number", name)
	}
	return v, nil
}

// Bool is true or false, false where it is not given.
func (p Values) Bool(name string) (yes bool, err error) {
	text := p.Get(name)
	if text == "" {
		return false, nil
	}
	if yes, err = strconv.ParseBool(text); err != nil {
		return false, fmt.Errorf("%s: %q is neither true nor false", name, text)
	}
	return yes, nil
}

// Text reads the body of a request, of so many bytes at most, and gives the status that
// goes with an error. what is what it is to be: "a plan".
func Text(w http.ResponseWriter, r *http.Request, most int64, what string) (text []byte, status int, err error) {
	text, err = io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	switch tooLong := (*http.MaxBytesError)(nil); {
	case errors.As(err, &tooLong):
		return nil, http.StatusRequestEntityTooLarge, fmt.Errorf("%s is at most %d KiB", what, most>>10)
	case err != nil:
		return nil, http.StatusBadRequest, errors.New("the text did not come through")
	}
	return text, http.StatusOK, nil
}
