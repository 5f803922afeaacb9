package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/pflag"
)

// serverOptions are the flags of a command that asks a running server's pages: where
// they are, who is trusted to be there and who asks.
type serverOptions struct{ url, ca, token string }

func (o *serverOptions) bind(f *pflag.FlagSet) {
	f.StringVar(&o.url, "server", o.url, "`URL` of a running server's pages")
	f.StringVar(&o.ca, "ca", "", "`FILE` of the authority that the server's certificate is of (PEM); the system's by default")
	f.StringVar(&o.token, "token-file", "", "`FILE` with the token of who asks")
}

// validate checks the address. Certificates and tokens go over TLS only.
func (o *serverOptions) validate() error {
	u, err := url.Parse(o.url)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https":
		return fmt.Errorf("--server: %q must be http://HOST:PORT or https://HOST:PORT", o.url)
	case u.Scheme == "http" && (o.ca != "" || o.token != ""):
		return fmt.Errorf("--server: %s is in clear: certificates and tokens go over TLS only, by https", o.url)
	}
	return nil
}

// fetch writes what the server answers on a path.
func (o *serverOptions) fetch(ctx context.Context, path string, query url.Values, w io.Writer) error {
	client, token, err := o.client()
	if err != nil {
		return err
	}
	defer client.CloseIdleConnections()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimRight(o.url, "/")+path+"?"+query.Encode(), nil)
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
		var asked *url.Error
		if errors.As(err, &asked) {
			err = fmt.Errorf("%s: %w", req.URL.Host, asked.Err)
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

// client makes a client of the pages, and gives the token to show, "" for none.
func (o *serverOptions) client() (*http.Client, string, error) {
	config, token := &tls.Config{MinVersion: tls.VersionTLS13}, ""
	var err error
	if o.ca != "" {
		if config.RootCAs, err = authorityIn(o.ca); err != nil {
			return nil, "", err
		}
	}
	if o.token != "" {
		if token, err = tokenIn(o.token); err != nil {
			return nil, "", err
		}
	}
	transport := &http.Transport{Proxy: http.ProxyFromEnvironment, TLSClientConfig: config, ResponseHeaderTimeout: time.Minute}
	return &http.Client{CheckRedirect: notElsewhere, Transport: transport}, token, nil
}

// notElsewhere follows no server to another place: what is there is not what was
// asked for, and the token is not for it.
func notElsewhere(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

// authorityIn reads whom to trust from its file.
func authorityIn(path string) (*x509.CertPool, error) {
	pem, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("%s: no certificates in PEM", path)
	}
	return pool, nil
}

// tokenIn reads a token from its file, which holds nothing else.
func tokenIn(path string) (string, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	words := strings.Fields(string(data))
	if len(words) != 1 {
		return "", fmt.Errorf("%s: a token is one word, and there are %d", path, len(words))
	}
	return words[0], nil
}
