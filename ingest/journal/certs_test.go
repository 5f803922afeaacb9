package journal_test

import (
	"crypto/x509"
	"testing"
	"time"

	"hawser/services/access/certtest"
)

// issue signs a certificate that is good until a time.
func issue(a *certtest.Authority, name string, until time.Time) (cert, key string) {
	s := a.Sign(name, func(c *x509.Certificate) { c.NotAfter = until })
	return s.CertFile, s.KeyFile
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
