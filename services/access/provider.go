package access

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"net/http"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/time/rate"
)

// provider verifies tokens of an OpenID Connect provider by the set of keys that
// it publishes. It is asked for that when the first token comes, not before: a
// server must start, and the other ways in must work, without it.
type provider struct {
	url, audience string
	ca            *x509.CertPool // nil: the system's

	now    func() time.Time
	client *http.Client

	mu       sync.Mutex
	verifier *oidc.IDTokenVerifier // nil until discovered
	failed   time.Time             // last try
	failure  error
}

const (
	providerTimeout = 10 * time.Second
	// askedAgain is the least time between a failed discovery and the next.
	askedAgain = 5 * time.Second
	// An unknown key id has the key set read anew. Whoever sends tokens with made-up
	// ids must not make us a nuisance to the provider: one request a second, ten at
	// once.
	providerRate, providerBurst = 1, 10
)

// same reports whether two providers are one.
func (p *provider) same(other *provider) bool {
	return p.url == other.url && p.audience == other.audience &&
		(p.ca == nil) == (other.ca == nil) && (p.ca == nil || p.ca.Equal(other.ca))
}

// open makes a provider that was read from a file ready for use.
func (p *provider) open(now func() time.Time) {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: p.ca}
	p.client = &http.Client{Timeout: providerTimeout, Transport: &slowed{transport, rate.NewLimiter(providerRate, providerBurst)}}
	p.now = now
}

// verify checks a token's signature, issuer, audience and times.
func (p *provider) verify(ctx context.Context, raw string) (*oidc.IDToken, error) {
	verifier, err := p.discover()
	if err != nil {
		return nil, refuse(notNow, "the issuer of tokens does not answer: %v", err)
	}
	return verifier.Verify(oidc.ClientContext(ctx, p.client), raw)
}

// discover asks the provider where its keys are, once.
func (p *provider) discover() (*oidc.IDTokenVerifier, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.verifier != nil:
		return p.verifier, nil
	case p.failure != nil && time.Since(p.failed) < askedAgain:
		return nil, p.failure
	}
	// Not the caller's context: others wait for the answer too.
	ctx, cancel := context.WithTimeout(oidc.ClientContext(context.Background(), p.client), providerTimeout)
	defer cancel()
	found, err := oidc.NewProvider(ctx, p.url)
	if err != nil {
		p.failed, p.failure = time.Now(), err
		return nil, err
	}
	p.verifier = found.Verifier(&oidc.Config{ClientID: p.audience, Now: p.now})
	return p.verifier, nil
}

// slowed keeps requests to a rate; one over it fails at once.
type slowed struct {
	next  *http.Transport
	limit *rate.Limiter
}

func (s *slowed) RoundTrip(r *http.Request) (*http.Response, error) {
	if !s.limit.Allow() {
		return nil, errors.New("asked too often")
	}
	return s.next.RoundTrip(r)
}

func (s *slowed) CloseIdleConnections() { s.next.CloseIdleConnections() }
