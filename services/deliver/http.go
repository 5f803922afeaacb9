package deliver

import (
	"bytes"
	"context"
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

// httpTimeout bounds one request, answer and all.
const httpTimeout = 10 * time.Second

// newClient is an HTTP client for one destination. It follows no redirect: a
// destination that has moved is to be configured anew, not guessed at.
func newClient() *http.Client {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.MaxConnsPerHost = 4
	return &http.Client{
		Transport:     transport,
		Timeout:       httpTimeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// parseURL takes an absolute URL of one of the schemes. Its errors name the URL
// without what may be secret in it.
func parseURL(s string, schemes ...string) (*url.URL, error) {
	u, err := url.Parse(s)
	if err != nil {
		return nil, errors.New("url: not a URL")
	}
	if slices.Contains(schemes, u.Scheme) && u.Host != "" {
		return u, nil
	}
	return nil, fmt.Errorf("url: %q: expected %s://HOST", u.Redacted(), strings.Join(schemes, ":// or "))
}

// post sends a body of JSON and reads the answer: nil where it was taken, an
// error under errRefused where it never will be.
func post(ctx context.Context, c *http.Client, to *url.URL, body []byte, header http.Header) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, to.String(), bytes.NewReader(body))
	if err != nil {
		return err
	}
	maps.Copy(req.Header, header)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "hawser")
	resp, err := c.Do(req)
	if err != nil {
		var u *url.Error
		if errors.As(err, &u) {
			err = u.Err // without the URL, which may hold a secret
		}
		return err
	}
	defer resp.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(resp.Body, 200))
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 1<<16)) // so that the connection is kept
	return answer(resp, strings.TrimSpace(string(said)))
}

// answer judges a response by its status, RFC 9110 section 15.
func answer(resp *http.Response, said string) error {
	if resp.StatusCode/100 == 2 {
		return nil
	}
	err := errors.New("answered " + resp.Status)
	if said != "" {
		err = fmt.Errorf("%w: %.200q", err, said)
	}
	switch resp.StatusCode {
	case http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
		return fmt.Errorf("%w: %w", errRefused, err)
	}
	if seconds, e := strconv.Atoi(resp.Header.Get("Retry-After")); e == nil && seconds > 0 {
		return &laterError{err, time.Duration(seconds) * time.Second}
	}
	return err
}
