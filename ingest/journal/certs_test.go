package journal_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// authority issues certificates of its own, into files.
type authority struct {
	dir, file string
	cert      *x509.Certificate
	key       *ecdsa.PrivateKey
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{dir: t.TempDir()}
	a.file = filepath.Join(a.dir, "ca.crt")
	a.cert, a.key = a.sign(t, &x509.Certificate{Subject: pkix.Name{CommonName: "authority"}, NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}, a.file)
	return a
}

// issue makes a certificate for server and client on loopback, and its key.
func (a *authority) issue(t *testing.T, name string, until time.Time) (cert, key string) {
	t.Helper()
	cert, key = filepath.Join(a.dir, name+".crt"), filepath.Join(a.dir, name+".key")
	_, private := a.sign(t, &x509.Certificate{Subject: pkix.Name{CommonName: name}, NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}}, cert)
	der, err := x509.MarshalPKCS8PrivateKey(private)
	must(t, err)
	must(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600))
	return cert, key
}

// sign makes a certificate of the authority, or of itself where there is none yet.
func (a *authority) sign(t *testing.T, c *x509.Certificate, file string) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	c.SerialNumber, c.NotBefore = big.NewInt(time.Now().UnixNano()), time.Now().Add(-2*time.Hour)
	parent, by := a.cert, a.key
	if parent == nil {
		parent, by = c, key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, by)
	must(t, err)
	must(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	made, err := x509.ParseCertificate(der)
	must(t, err)
	return made, key
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
