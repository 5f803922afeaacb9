package access

import (
	"crypto/tls"
	"fmt"
)

// papers are the server's certificate chain and its key.
type papers struct {
	cert tls.Certificate
}

func readPapers(certPath, keyPath string, from *sources) (*papers, error) {
	cert, err := from.read(certPath)
	if err != nil {
		return nil, err
	}
	key, err := from.read(keyPath)
	if err != nil {
		return nil, err
	}
	pair, err := tls.X509KeyPair(cert, key)
	if err != nil {
		return nil, fmt.Errorf("%s and %s: %w", certPath, keyPath, err)
	}
	return &papers{pair}, nil
}

// GRPCTLS is for the listener of devices and programs: a client may show a
// certificate, and one that is shown must be of the devices' CA.
func (g *Guard) GRPCTLS() *tls.Config {
	return g.tls(func(c *tls.Config) {
		c.NextProtos = []string{"h2"}
		// A session taken up again would go past the devices' CA in force.
		c.SessionTicketsDisabled = true
		if pool := g.roll().devices; pool != nil {
			c.ClientAuth, c.ClientCAs = tls.VerifyClientCertIfGiven, pool
		}
	})
}

// HTTPTLS is for the listener of people: no browser is asked for a certificate.
func (g *Guard) HTTPTLS() *tls.Config {
	return g.tls(func(c *tls.Config) { c.NextProtos = []string{"h2", "http/1.1"} })
}

// tls makes a configuration that is made anew, by the files in force, for each
// handshake.
func (g *Guard) tls(fill func(*tls.Config)) *tls.Config {
	now := func() *tls.Config {
		c := &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{g.papers.Load().cert}, Time: g.o.Now}
		fill(c)
		return c
	}
	c := now()
	c.GetConfigForClient = func(*tls.ClientHelloInfo) (*tls.Config, error) { return now(), nil }
	return c
}
