package journal

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// connect opens the two connections.
func (j *Journal) connect() error {
	opts, err := j.connectOptions()
	if err != nil {
		return err
	}
	lost := func(_ *nats.Conn, err error) {
		if err == nil {
			err = nats.ErrConnectionClosed
		}
		if j.ctx.Err() == nil {
			j.pub.abandon(j.outage(err), j.embedded())
		}
	}
	again := nats.ReconnectHandler(func(*nats.Conn) { j.epoch.next() })
	dial := func(more nats.Option) (*nats.Conn, error) {
		c, err := nats.Connect(j.o.URL, append(opts[:len(opts):len(opts)], more)...)
		if err != nil {
			return nil, j.o.refusal(fmt.Errorf("%s: %w", redacted(j.o.URL), err))
		}
		return c, nil
	}
	if j.readConn, err = dial(again); err != nil {
		return err
	}
	j.pub = newPublisher(j)
	if j.pubConn, err = dial(nats.DisconnectErrHandler(lost)); err != nil {
		return err
	}
	if err := j.pub.bind(j.pubConn); err != nil {
		return err
	}
	if limit := j.pubConn.MaxPayload(); limit < maxPayload {
		j.log.Warn("the server's max_payload is small: larger entries and documents will be refused", "max_payload", limit, "want", maxPayload)
	}
	j.js, err = jetstream.New(j.readConn, jetstream.WithDefaultTimeout(answerTimeout))
	return err
}

func (j *Journal) connectOptions() ([]nats.Option, error) {
	opts := []nats.Option{
		nats.Name("hawser journal"),
		nats.ReconnectBufSize(-1), // an outage is told at once, not buffered
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			if errors.Is(err, nats.ErrSlowConsumer) {
				// A reader that is behind: it finds the gap by the delivery's number, tells
				// so and reads on from there. Nothing of the journal is lost.
				j.log.Debug("journal reader is behind", "err", err)
				return
			}
			j.log.Warn("journal connection", "err", err)
		}),
	}
	if j.embedded() {
		return append(opts, nats.InProcessServer(j.ns), nats.NoReconnect()), nil
	}
	opts = append(opts, nats.MaxReconnects(-1), nats.ReconnectWait(250*time.Millisecond), nats.PingInterval(10*time.Second),
		nats.IgnoreAuthErrorAbort()) // credentials that are refused may be replaced
	own, err := j.o.credentials()
	return append(opts, own...), err
}

// credentials are whom the connection trusts and who it is. Files are looked at now,
// so that what is wrong with one is told with its name, and read again for each
// connection, so that they can be replaced.
func (o *Options) credentials() (opts []nats.Option, err error) {
	if o.RootCAs != "" {
		opts = append(opts, func(n *nats.Options) error {
			if err := nats.RootCAs(o.RootCAs)(n); err != nil {
				return fmt.Errorf("root_cas %s: %w", o.RootCAs, err)
			}
			return nil
		})
	}
	if o.ClientCert != "" {
		pair, err := tls.LoadX509KeyPair(o.ClientCert, o.ClientKey)
		if err != nil {
			return nil, fmt.Errorf("client_cert %s with client_key %s: %w", o.ClientCert, o.ClientKey, err)
		}
		if now := time.Now(); now.After(pair.Leaf.NotAfter) || now.Before(pair.Leaf.NotBefore) {
			return nil, fmt.Errorf("client_cert %s: valid only from %s to %s", o.ClientCert,
				pair.Leaf.NotBefore.UTC().Format(time.RFC3339), pair.Leaf.NotAfter.UTC().Format(time.RFC3339))
		}
		opts = append(opts, nats.ClientCert(o.ClientCert, o.ClientKey))
	}
	if o.UserCredentials != "" {
		if _, err := os.ReadFile(o.UserCredentials); err != nil {
			return nil, fmt.Errorf("user_credentials: %w", err)
		}
		opts = append(opts, nats.UserCredentials(o.UserCredentials))
	}
	if o.User != "" {
		opts = append(opts, nats.UserInfo(o.User, o.Password))
	}
	if o.Token != "" {
		opts = append(opts, nats.Token(o.Token))
	}
	return opts, nil
}

// redacted is the servers' addresses without a password that stands in one.
func redacted(servers string) string {
	all := strings.Split(servers, ",")
	for i, s := range all {
		if u, err := url.Parse(strings.TrimSpace(s)); err == nil {
			all[i] = u.Redacted()
		}
	}
	return strings.Join(all, ",")
}

// refusal says in words of the settings why a server outside cannot be connected
// with, where that is a matter of certificates or credentials.
func (o *Options) refusal(err error) error {
	var unverified *tls.CertificateVerificationError
	var alert *net.OpError
	switch {
	case errors.As(err, &unverified):
		by := "the system's authorities"
		if o.RootCAs != "" {
			by = "root_cas " + o.RootCAs
		}
		return fmt.Errorf("the server's certificate is not trusted by %s: %w", by, err)
	case errors.Is(err, nats.ErrSecureConnWanted):
		return fmt.Errorf("the server does not speak TLS, which tls://, root_cas or client_cert asks for: %w", err)
	case errors.As(err, &alert) && alert.Op == "remote error" || errors.Is(err, nats.ErrTLS):
		if o.ClientCert == "" {
			return fmt.Errorf("the server ends the TLS connection, as one does that asks for a client_cert, of which there is none: %w", err)
		}
		return fmt.Errorf("the server ends the TLS connection, as one does that does not take client_cert %s: %w", o.ClientCert, err)
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired):
		return fmt.Errorf("the server does not let %s in: %w", o.who(), err)
	}
	return err
}

// who is who the connection says it is, without a secret.
func (o *Options) who() string {
	var all []string
	if o.User != "" {
		all = append(all, "user "+o.User)
	}
	if o.UserCredentials != "" {
		all = append(all, "user_credentials "+o.UserCredentials)
	}
	if o.Token != "" {
		all = append(all, "the token")
	}
	if o.ClientCert != "" {
		all = append(all, "client_cert "+o.ClientCert)
	}
	if len(all) == 0 {
		return "one with neither user, user_credentials nor token"
	}
	return strings.Join(all, " with ")
}
