package deployed_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// journalCertificate makes what the manifest's secret nats-tls holds, for servers on
// loopback: a certificate for server and client, its key, and the authority's.
func journalCertificate(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	ca, leaf := newKey(t), newKey(t)
	authority := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "journal"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	servers := &x509.Certificate{SerialNumber: big.NewInt(2), NotBefore: authority.NotBefore, NotAfter: authority.NotAfter,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}}
	top, err1 := x509.CreateCertificate(rand.Reader, authority, authority, &ca.PublicKey, ca)
	below, err2 := x509.CreateCertificate(rand.Reader, servers, authority, &leaf.PublicKey, ca)
	private, err3 := x509.MarshalPKCS8PrivateKey(leaf)
	write := func(name, kind string, der []byte) error {
		return os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600)
	}
	if err := errors.Join(err1, err2, err3, write("ca.crt", "CERTIFICATE", top), write("tls.crt", "CERTIFICATE", below),
		write("tls.key", "PRIVATE KEY", private)); err != nil {
		t.Fatal(err)
	}
	return dir
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}
