package access

import (
	"crypto/x509"
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"time"

	"go.yaml.in/yaml/v3"
)

// roll is what the access file says: who there is and what they may do. It is
// not changed; another one takes its place.
type roll struct {
	people  []person
	issuer  *issuer        // nil: no tokens of an issuer are taken
	devices *x509.CertPool // nil: no devices are let in
	revoked []Hash         // of devices' certificates
}

// person is a holder of a token of our own.
type person struct {
	name    string
	hash    Hash
	expires time.Time // zero for never
	grants  []Grant
}

// groupGrant gives a grant to whom the issuer says is of a group.
type groupGrant struct {
	group string
	Grant
}

const (
	maxPeople = 1000
	maxGrants = 100 // of one person, or of the issuer's groups
	maxName   = 80  // bytes
)

// open makes a roll ready for use. Where the provider of tokens is the same as
// before, what is known of it is kept.
func (r *roll) open(was *roll, now func() time.Time) {
	switch {
	case r.issuer == nil:
	case was != nil && was.issuer != nil && r.issuer.provider.same(was.issuer.provider):
		r.issuer.provider = was.issuer.provider
	default:
		r.issuer.provider.open(now)
	}
}

// close lets go of what the next roll, nil for none, does not go on with.
func (r *roll) close(next *roll) {
	if r == nil || r.issuer == nil || next != nil && next.issuer != nil && next.issuer.provider == r.issuer.provider {
		return
	}
	r.issuer.provider.client.CloseIdleConnections()
}

// readRoll reads an access file and the certificates it names, which are found
// from its folder. Every fault is told with its place.
func readRoll(path string, from *sources) (*roll, error) {
	data, err := from.read(path)
	if err != nil {
		return nil, err
	}
	f := &form{file: path, from: from}
	roll := &roll{}
	if root := f.document(data); root != nil {
		f.fields(root, "", map[string]func(*yaml.Node, string){
			"people":  func(n *yaml.Node, at string) { f.people(n, at, roll) },
			"issuer":  func(n *yaml.Node, at string) { f.issuer(n, at, roll) },
			"devices": func(n *yaml.Node, at string) { f.devices(n, at, roll) },
		})
		if len(f.faults) == 0 && len(roll.people) == 0 && roll.issuer == nil && roll.devices == nil {
			f.fail(root, "", "lets nobody in: it needs people, an issuer or devices")
		}
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	return roll, nil
}

func (f *form) people(n *yaml.Node, at string, roll *roll) {
	names, hashes := map[string]int{}, map[Hash]int{}
	f.items(n, at, maxPeople, func(n *yaml.Node, at string) {
		var p person
		f.fields(n, at, map[string]func(*yaml.Node, string){
			"name": func(n *yaml.Node, at string) {
				p.name = f.text(n, at, maxName)
				f.once(n, at, names, p.name)
			},
			"token": func(n *yaml.Node, at string) {
				var err error
				if p.hash, err = parseHash(f.text(n, at, maxName)); err != nil {
					f.fail(n, at, "%v, not the token itself", err)
				} else if line := hashes[p.hash]; line > 0 {
					f.fail(n, at, "is the same as on line %d", line)
				}
				hashes[p.hash] = n.Line
			},
			"expires": func(n *yaml.Node, at string) { p.expires = f.time(n, at) },
			"grants": func(n *yaml.Node, at string) {
				f.items(n, at, maxGrants, func(n *yaml.Node, at string) { p.grants = append(p.grants, f.grant(n, at, nil)) })
			},
		}, "name", "token", "grants")
		roll.people = append(roll.people, p)
	})
}

// grant reads a role and what it is over. group, if not nil, is read as well.
func (f *form) grant(n *yaml.Node, at string, group *string) (g Grant) {
	overs := 0
	keys := map[string]func(*yaml.Node, string){
		"role": func(n *yaml.Node, at string) {
			var ok bool
			if name := f.text(n, at, maxName); name != "" {
				if g.Role, ok = parseRole(name); !ok {
					f.fail(n, at, "%q is none of watch, acknowledge, operate, engineer, administer", name)
				}
			}
		},
		"site": func(n *yaml.Node, at string) {
			overs++
			if g.Site = n.ShortTag() == "!!bool" && n.Value == "true"; !g.Site {
				f.fail(n, at, "must be true, or left out")
			}
		},
		"berth": func(n *yaml.Node, at string) {
			overs++
			if g.Berth = f.text(n, at, maxName); g.Berth != "" && !berthName.MatchString(g.Berth) {
				f.fail(n, at, "%q must match %s", g.Berth, berthName)
			}
		},
		"ship": func(n *yaml.Node, at string) {
			overs++
			g.Ship = f.text(n, at, maxName)
		},
	}
	need := []string{"role"}
	if group != nil {
		keys["group"] = func(n *yaml.Node, at string) { *group = f.text(n, at, 200) }
		need = append(need, "group")
	}
	if f.fields(n, at, keys, need...) && overs != 1 {
		f.fail(n, at, "must be over one thing: site: true, a berth or a ship")
	}
	return g
}

func (f *form) issuer(n *yaml.Node, at string, roll *roll) {
	i := &issuer{provider: &provider{}, nameClaim: "sub", groupsClaim: "groups"}
	roll.issuer = i
	f.fields(n, at, map[string]func(*yaml.Node, string){
		"url": func(n *yaml.Node, at string) {
			i.provider.url = f.text(n, at, 500)
			if err := fitURL(i.provider.url); i.provider.url != "" && err != nil {
				f.fail(n, at, "%v", err)
			}
		},
		"audience": func(n *yaml.Node, at string) { i.provider.audience = f.text(n, at, 500) },
		"ca":       func(n *yaml.Node, at string) { i.provider.ca = f.certificates(n, at) },
		"name":     func(n *yaml.Node, at string) { i.nameClaim = f.text(n, at, maxName) },
		"groups":   func(n *yaml.Node, at string) { i.groupsClaim = f.text(n, at, maxName) },
		"grants": func(n *yaml.Node, at string) {
			f.items(n, at, maxGrants, func(n *yaml.Node, at string) {
				var g groupGrant
				g.Grant = f.grant(n, at, &g.group)
				i.grants = append(i.grants, g)
			})
		},
	}, "url", "audience", "grants")
}

// fitURL says what is wrong with an issuer's address: over anything but TLS the
// keys it gives could be anybody's, except from this machine.
func fitURL(s string) error {
	u, err := url.Parse(s)
	if err != nil || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return fmt.Errorf("%q must be https://HOST, and a path if there is one", s)
	}
	ip := net.ParseIP(u.Hostname())
	if u.Scheme != "https" && !(u.Scheme == "http" && (u.Hostname() == "localhost" || ip != nil && ip.IsLoopback())) {
		return fmt.Errorf("%q must be https://", s)
	}
	return nil
}

func (f *form) devices(n *yaml.Node, at string, roll *roll) {
	f.fields(n, at, map[string]func(*yaml.Node, string){
		"ca": func(n *yaml.Node, at string) { roll.devices = f.certificates(n, at) },
		"revoked": func(n *yaml.Node, at string) {
			f.items(n, at, maxPeople, func(n *yaml.Node, at string) {
				hash, err := parseHash(f.text(n, at, maxName))
				if err != nil {
					f.fail(n, at, "%v: the fingerprint of the certificate", err)
				}
				roll.revoked = append(roll.revoked, hash)
			})
		},
	}, "ca")
}

// certificates reads the file of certificates that a value names.
func (f *form) certificates(n *yaml.Node, at string) *x509.CertPool {
	name := f.text(n, at, 4096)
	if name == "" {
		return nil
	}
	if !filepath.IsAbs(name) {
		name = filepath.Join(filepath.Dir(f.file), name)
	}
	data, err := f.from.read(name)
	if err != nil {
		f.fail(n, at, "%v", err)
		return nil
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(data) {
		f.fail(n, at, "%s: no certificates in PEM", name)
	}
	return pool
}
