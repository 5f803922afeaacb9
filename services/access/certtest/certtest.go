// Package certtest signs certificates for the tests of whatever speaks TLS. Nothing
// in them outlives a test.
package certtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
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

// Authority signs certificates and keeps them in a folder of the test's.
type Authority struct {
	Dir  string
	File string // its certificate, ca.crt
	PEM  []byte // the same

	t    testing.TB
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// New makes an authority that is good for an hour.
func New(t testing.TB, name string) *Authority {
	t.Helper()
	a := &Authority{t: t, Dir: t.TempDir()}
	a.File = filepath.Join(a.Dir, "ca.crt")
	a.cert, a.key = a.sign(&x509.Certificate{Subject: pkix.Name{CommonName: name}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign})
	a.PEM = a.write(a.File, "CERTIFICATE", a.cert.Raw)
	return a
}

// Pool is the authority as whom to trust.
func (a *Authority) Pool() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(a.cert)
	return pool
}

// Signed is a certificate with its key, in PEM and in files.
type Signed struct {
	Cert, Key         []byte
	CertFile, KeyFile string // NAME.crt and NAME.key
}

// Pair is both as TLS takes them.
func (a *Authority) Pair(s Signed) tls.Certificate {
	a.t.Helper()
	pair, err := tls.X509KeyPair(s.Cert, s.Key)
	a.must(err)
	return pair
}

// Sign signs the certificate of a server and client on loopback, good for an hour;
// change, where it is not nil, makes it another.
func (a *Authority) Sign(name string, change func(*x509.Certificate)) Signed {
	a.t.Helper()
	c := &x509.Certificate{Subject: pkix.Name{CommonName: name}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}}
	if change != nil {
		change(c)
	}
	signed, key := a.sign(c)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	a.must(err)
	s := Signed{CertFile: filepath.Join(a.Dir, name+".crt"), KeyFile: filepath.Join(a.Dir, name+".key")}
	s.Cert, s.Key = a.write(s.CertFile, "CERTIFICATE", signed.Raw), a.write(s.KeyFile, "PRIVATE KEY", private)
	return s
}

// sign signs a certificate, by itself where there is no authority yet.
func (a *Authority) sign(c *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	a.must(err)
	c.SerialNumber, err = rand.Int(rand.Reader, big.NewInt(1<<62))
	a.must(err)
	c.NotBefore = time.Now().Add(-2 * time.Hour)
	if c.NotAfter.IsZero() {
		c.NotAfter = time.Now().Add(time.Hour)
	}
	parent, by := a.cert, a.key
	if parent == nil {
		parent, by = c, key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, by)
	a.must(err)
	made, err := x509.ParseCertificate(der)
	a.must(err)
	return made, key
}

func (a *Authority) write(path, kind string, der []byte) []byte {
	a.t.Helper()
	text := pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der})
	a.must(os.WriteFile(path, text, 0o600))
	return text
}

func (a *Authority) must(err error) {
	a.t.Helper()
	if err != nil {
		a.t.Fatal(err)
	}
}
