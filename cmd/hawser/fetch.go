package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"
)

// settleURL is settle for a server's pages at the URL of a flag. By https a server is
// trusted by the system's authorities where --ca names none.
func (o *peerOptions) settleURL(flag, server string) error {
	u, err := url.Parse(server)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https":
		return fmt.Errorf("%s: %q must be http://HOST:PORT or https://HOST:PORT", flag, server)
	case u.Scheme == "http" && *o != peerOptions{}:
		return fmt.Errorf("%s: %s is in clear: certificates and tokens go over TLS only, by https", flag, server)
	}
	return o.together(true)
}

// fetch writes what a running server answers.
func (o *peerOptions) fetch(ctx context.Context, address string, w io.Writer) error {
	client, token, err := o.http()
	if err != nil {
		return err
	}
	defer client.CloseIdleConnections()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return err
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := client.Do(req)
	if err != nil {
		if isNotHTTP(err) {
			return fmt.Errorf("%s does not speak HTTP: gRPC has another address than the pages", req.URL.Host)
		}
		return err
	}
	defer resp.Body.Close()
	if to, err := resp.Location(); err == nil {
		if to.Path == "/sign-in" {
			return errors.New("a token is needed: --token-file")
		}
		return fmt.Errorf("the server is at %s", to)
	}
	if resp.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(resp.Body, 500))
		return fmt.Errorf("the server says %s: %s", resp.Status, strings.TrimSpace(string(text)))
	}
	if _, err = io.Copy(w, resp.Body); err != nil {
		return fmt.Errorf("cut off on the way; the server's log says why: %w", err)
	}
	return nil
}

// isNotHTTP reports whether what answered spoke something else, after the request or
// before it; net/http has no error values for it.
func isNotHTTP(err error) bool {
	return strings.Contains(err.Error(), "malformed HTTP response") || strings.Contains(err.Error(), "readLoopPeekFailLocked: %!w(<nil>)")
}

// http makes a client of a server's pages, and gives the token to show, "" for none.
func (o *peerOptions) http() (*http.Client, string, error) {
	config, err := o.tls()
	if err != nil {
		return nil, "", err
	}
	if config != nil {
		config.NextProtos = nil
	}
	token := ""
	if o.token != "" {
		if token, err = tokenIn(o.token); err != nil {
			return nil, "", err
		}
	}
	return &http.Client{CheckRedirect: notElsewhere, Transport: &http.Transport{Proxy: http.ProxyFromEnvironment, TLSClientConfig: config, ResponseHeaderTimeout: time.Minute}}, token, nil
}

// notElsewhere follows no server to another place: what is there is not what was
// asked for, and the token is not for it.
func notElsewhere(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
