package keyring

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"time"

	"hawser/services/access"
)

// pair is a certificate and its private key, in PEM.
type pair struct{ cert, key []byte }

// authority signs certificates that are good for as long as its own.
type authority struct {
	pair pair
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// early is how far back a certificate is dated: clocks of gateways differ.
const early = time.Hour

func newAuthority(begin, until time.Time) (*authority, error) {
	a := &authority{}
	template := &x509.Certificate{
		Subject: pkix.Name{CommonName: "hawser trial authority"}, NotBefore: begin.Add(-early), NotAfter: until,
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
	}
	var err error
	if a.key, a.pair.key, err = newKey(); err != nil {
		return nil, err
	}
	der, err := sign(template, template, &a.key.PublicKey, a.key)
	if err != nil {
		return nil, err
	}
	a.pair.cert = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	a.cert, err = x509.ParseCertificate(der)
	return a, err
}

// server makes the certificate of a server reached by these names and addresses,
// and by those of this machine.
func (a *authority) server(hosts []string) (pair, error) {
	template := &x509.Certificate{Subject: pkix.Name{CommonName: "hawser server"}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	for _, host := range append([]string{"localhost", "127.0.0.1", "::1"}, hosts...) {
		if ip := net.ParseIP(host); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, host)
		}
	}
	return a.issue(template)
}

// device makes the certificate of a device that sends for berths.
func (a *authority) device(name string, berths []string) (pair, error) {
	template := &x509.Certificate{Subject: pkix.Name{CommonName: name}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}}
	for _, berth := range berths {
		template.URIs = append(template.URIs, access.BerthURI(berth))
	}
	return a.issue(template)
}

func (a *authority) issue(template *x509.Certificate) (p pair, err error) {
	key, encoded, err := newKey()
	if err != nil {
		return pair{}, err
	}
	template.NotBefore, template.NotAfter = a.cert.NotBefore, a.cert.NotAfter
	template.KeyUsage, template.BasicConstraintsValid = x509.KeyUsageDigitalSignature, true
	der, err := sign(template, a.cert, &key.PublicKey, a.key)
	if err != nil {
		return pair{}, err
	}
	return pair{cert: pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), key: encoded}, nil
}

// newKey makes a key on P-256, which every TLS library and browser takes.
func newKey() (*ecdsa.PrivateKey, []byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, nil, err
	}
	return key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), nil
}

// sign gives a certificate a random serial number of 127 bits and signs it.
func sign(template, parent *x509.Certificate, public *ecdsa.PublicKey, key *ecdsa.PrivateKey) ([]byte, error) {
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, err
	}
	template.SerialNumber = serial
	return x509.CreateCertificate(rand.Reader, template, parent, public, key)
}
