package deployed_test

import (
	"testing"

	"hawser/services/access/certtest"
)

// journalCertificate makes what the manifest's secret nats-tls holds, for servers on
// loopback: a certificate for server and client, its key, and the authority's.
func journalCertificate(t *testing.T) (dir string) {
	t.Helper()
	a := certtest.New(t, "journal")
	a.Sign("tls", nil)
	return a.Dir
}
