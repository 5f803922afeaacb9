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

// deviceProof is a certificate that the listener has verified.
type deviceProof struct {
	print   Hash // of the certificate
	name    string
	berths  []string
	odd     string // a URI of ours that names no berth
	expires time.Time
}

// proofOfDevice reads a verified certificate.
func proofOfDevice(cert *x509.Certificate) deviceProof {
	p := deviceProof{print: sha256.Sum256(cert.Raw), name: cert.Subject.CommonName, expires: cert.NotAfter}
	if p.name == "" {
		p.name = p.print.String()
	}
	for _, uri := range cert.URIs {
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

func (p deviceProof) caller(r *roll, now time.Time) (*Caller, error) {
	switch {
	case p.odd != "":
		return nil, refuse(notSignedIn, "the certificate of device %s names %q, which is no berth", p.name, p.odd)
	case slices.ContainsFunc(r.revoked, p.print.equal):
		return nil, refuse(notSignedIn, "the certificate of device %s has been withdrawn", p.name)
	case now.After(p.expires):
		return nil, refuse(notSignedIn, "the certificate of device %s has expired", p.name)
	}
	return &Caller{Name: p.name, Kind: "device", Berths: p.berths, Until: p.expires, key: "device " + p.print.String()}, nil
}
