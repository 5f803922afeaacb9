// Package keyring makes the certificates and tokens that a trial needs: an
// authority, a certificate for the server, one for a device, a token for each
// role, and the settings that put them to use. It is not for the long run: a site
// has an authority of its own, and does not leave its key beside the others. Its
// invariant: a folder is made whole or not at all, and nothing in it is a token.
//
//	ca.crt ca.key           the authority; its key signs no more and can go
//	server.crt server.key   for the names the server is reached by
//	device.crt device.key   for a gateway, bound to its berths
//	access.yaml             who may do what, tokens as hashes
//	hawser.yaml             settings of hawser serve
package keyring

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"hawser/services/access"
)

// Names of the files that others use.
const (
	CAFile         = "ca.crt"
	DeviceCertFile = "device.crt"
	DeviceKeyFile  = "device.key"
	SettingsFile   = "hawser.yaml"
)

// Options say what to make.
type Options struct {
	// Dir must not exist, or be empty.
	Dir string
	// Hosts are the names and addresses the server is reached by; none for this
	// machine only.
	Hosts []string
	// Berths are those the device sends for; one at least.
	Berths []string
	// Ships get a token each, with the role acknowledge where they lie.
	Ships []string
	// For is how long the certificates and tokens are good; 0 means 90 days.
	For time.Duration
}

var (
	berthName = regexp.MustCompile(`^[a-z0-9-]{1,40}$`)
	hostName  = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?$`)
)

func (o *Options) validate() error {
	if len(o.Berths) == 0 {
		return errors.New("a berth is needed that the device sends for")
	}
	for _, berth := range o.Berths {
		if !berthName.MatchString(berth) {
			return fmt.Errorf("berth %q must match %s", berth, berthName)
		}
	}
	for _, host := range o.Hosts {
		if net.ParseIP(host) == nil && !hostName.MatchString(host) {
			return fmt.Errorf("host %q is neither a name nor an address; leave its port out", host)
		}
	}
	for _, ship := range o.Ships {
		if strings.TrimSpace(ship) == "" || len(ship) > 60 {
			return fmt.Errorf("ship %q must have a name of at most 60 bytes", ship)
		}
	}
	if o.For < 0 || o.For > 10*365*24*time.Hour {
		return fmt.Errorf("good for %s: must be up to ten years", o.For)
	}
	if o.For == 0 {
		o.For = 90 * 24 * time.Hour
	}
	return nil
}

// Token is one that was made. It is nowhere else.
type Token struct {
	Name  string
	Grant access.Grant
	Token string
}

// Made is what there is now.
type Made struct {
	Dir    string // absolute
	Tokens []Token
	Until  time.Time
}

// Make makes the folder.
func Make(o Options) (*Made, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	dir, err := filepath.Abs(o.Dir)
	if err != nil {
		return nil, err
	}
	if err := vacant(dir); err != nil {
		return nil, err
	}
	begin := time.Now().UTC().Truncate(time.Second)
	m := &Made{Dir: dir, Until: begin.Add(o.For), Tokens: tokens(o.Ships)}
	// Made aside and put in place in one step; only its owner can read it.
	aside, err := os.MkdirTemp(filepath.Dir(dir), ".keys-*")
	if err != nil {
		return nil, err
	}
	if err = m.write(aside, o, begin); err == nil {
		err = replace(aside, dir)
	}
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(aside))
	}
	return m, nil
}

// replace puts a folder in the place of an empty one, or of none.
func replace(aside, dir string) error {
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.Rename(aside, dir)
}

// vacant is an error where something would be written over.
func vacant(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case len(entries) > 0:
		return fmt.Errorf("%s has %s in it and is left as it is; name a new folder", dir, entries[0].Name())
	}
	return nil
}

// tokens makes one for each role over the site and one for each ship.
func tokens(ships []string) []Token {
	var out []Token
	add := func(name string, g access.Grant) {
		out = append(out, Token{Name: name, Grant: g, Token: access.NewToken()})
	}
	for _, role := range access.Roles() {
		add(role.String(), access.Grant{Role: role, Site: true})
	}
	for _, ship := range ships {
		add("crew of "+ship, access.Grant{Role: access.Acknowledge, Ship: ship})
	}
	return out
}

// write writes every file into a folder that is m.Dir later.
func (m *Made) write(dir string, o Options, begin time.Time) error {
	a, err := newAuthority(begin, m.Until)
	if err != nil {
		return err
	}
	server, err := a.server(o.Hosts)
	if err != nil {
		return err
	}
	device, err := a.device("gateway", o.Berths)
	if err != nil {
		return err
	}
	for _, file := range []struct {
		name string
		data []byte
		mode fs.FileMode
	}{
		{CAFile, a.pair.cert, 0o644}, {"ca.key", a.pair.key, 0o600},
		{"server.crt", server.cert, 0o644}, {"server.key", server.key, 0o600},
		{DeviceCertFile, device.cert, 0o644}, {DeviceKeyFile, device.key, 0o600},
		{"access.yaml", m.accessFile(), 0o600}, {SettingsFile, m.settings(o.Hosts), 0o644},
	} {
		if err := os.WriteFile(filepath.Join(dir, file.name), file.data, file.mode); err != nil {
			return err
		}
	}
	return nil
}
