// Package parameter reads the parameters of a request to a page or an API: each is known
// and given once, and the error for whoever asked names the one that is wrong.
package parameter

import (
	"fmt"
	"maps"
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
