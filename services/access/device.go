package access

import (
	"crypto/sha256"
	"crypto/x509"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"
)

// A device is who its certificate says. The certificate, signed by the devices'
// CA for client authentication, names the berths it may send for as URIs of its
// subject alternative names, one each:
//
//	hawser://berth/east-3
//
// So the binding is the CA's word, cannot be changed without it, and needs no
// list here; only those withdrawn before their time are on the roll.

// BerthURI names a berth in a device's certificate.
func BerthURI(berth string) *url.URL {
	return &url.URL{Scheme: "hawser", Host: "berth", Path: "/" + berth}
}

// berthName is the schema's.
var berthName = regexp.MustCompile(`^[a-z0-9-]{1,40}$`)

// deviceProof is a certificate that the listener has taken.
type deviceProof struct {
	cert    *x509.Certificate
	between *x509.CertPool // certificates between it and the authority
	name    string
	berths  []string
	odd     string // a URI of ours that names no berth
}

// proofOfDevice reads the certificates that a device has shown, its own first.
func proofOfDevice(shown []*x509.Certificate) deviceProof {
	p := deviceProof{cert: shown[0], between: x509.NewCertPool(), name: shown[0].Subject.CommonName}
	for _, c := range shown[1:] {
		p.between.AddCert(c)
	}
	if p.name == "" {
		p.name = p.print().String()
	}
	for _, uri := range p.cert.URIs {
		if uri.Scheme != "hawser" {
			continue
		}
		berth := strings.TrimPrefix(uri.Path, "/")
		if uri.String() != BerthURI(berth).String() || !berthName.MatchString(berth) {
			p.odd = uri.String()
			continue
		}
		p.berths = append(p.berths, berth)
	}
	slices.Sort(p.berths)
	return p
}

// print is the certificate's fingerprint.
func (p deviceProof) print() Hash { return sha256.Sum256(p.cert.Raw) }

// caller verifies the certificate anew: the authority may be another since the
// connection was made.
func (p deviceProof) caller(r *roll, now time.Time) (*Caller, error) {
	switch {
	case r.devices == nil:
		return nil, refuse(notSignedIn, "devices are not let in here")
	case p.odd != "":
		return nil, refuse(notSignedIn, "the certificate of device %s names %q, which is no berth", p.name, p.odd)
	case slices.ContainsFunc(r.revoked, p.print().equal):
		return nil, refuse(notSignedIn, "the certificate of device %s has been withdrawn", p.name)
	}
	_, err := p.cert.Verify(x509.VerifyOptions{Roots: r.devices, Intermediates: p.between, CurrentTime: now,
		KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}})
	if err != nil {
		return nil, refuse(notSignedIn, "the certificate of device %s is not taken: %v", p.name, err)
	}
	return &Caller{Name: p.name, Kind: byDevice, Berths: p.berths, Until: p.cert.NotAfter, key: "device " + p.print().String()}, nil
}
