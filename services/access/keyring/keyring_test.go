package keyring_test

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hawser/services/access/keyring"
)

func makeKeys(t *testing.T, change func(*keyring.Options)) (*keyring.Made, error) {
	t.Helper()
	o := keyring.Options{Dir: filepath.Join(t.TempDir(), "keys"), Berths: []string{"east-3", "west-1"}, Hosts: []string{"berths.example", "192.0.2.7"}, Ships: []string{`Heron "II"`}}
	if change != nil {
		change(&o)
	}
	return keyring.Make(o)
}

func certificate(t *testing.T, path string) *x509.Certificate {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	block, rest := pem.Decode(data)
	if block == nil || block.Type != "CERTIFICATE" || len(rest) > 0 {
		t.Fatalf("%s: no single certificate", path)
	}
	cert, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	return cert
}

// What is made passes the verification of the standard library for what it is
// for, and for nothing else (RFC 5280, 4.2.1.12, key purposes).
func TestCertificates(t *testing.T) {
	m, err := makeKeys(t, nil)
	if err != nil {
		t.Fatal(err)
	}
	in := func(name string) string { return filepath.Join(m.Dir, name) }
	ca, server, device := certificate(t, in("ca.crt")), certificate(t, in("server.crt")), certificate(t, in("device.crt"))
	roots := x509.NewCertPool()
	roots.AddCert(ca)
	verify := func(c *x509.Certificate, host string, at time.Time, usage x509.ExtKeyUsage) error {
		_, err := c.Verify(x509.VerifyOptions{Roots: roots, DNSName: host, CurrentTime: at, KeyUsages: []x509.ExtKeyUsage{usage}})
		return err
	}
	now := time.Now()
	for name, c := range map[string]struct {
		cert  *x509.Certificate
		host  string
		at    time.Time
		usage x509.ExtKeyUsage
		ok    bool
	}{
		"server by name":            {server, "berths.example", now, x509.ExtKeyUsageServerAuth, true},
		"server by address":         {server, "192.0.2.7", now, x509.ExtKeyUsageServerAuth, true},
		"server on this machine":    {server, "localhost", now, x509.ExtKeyUsageServerAuth, true},
		"server by another name":    {server, "other.example", now, x509.ExtKeyUsageServerAuth, false},
		"server as a device":        {server, "", now, x509.ExtKeyUsageClientAuth, false},
		"device":                    {device, "", now, x509.ExtKeyUsageClientAuth, true},
		"device as a server":        {device, "", now, x509.ExtKeyUsageServerAuth, false},
		"just before its end":       {device, "", now.Add(90*24*time.Hour - time.Minute), x509.ExtKeyUsageClientAuth, true},
		"after its end":             {device, "", now.Add(90*24*time.Hour + time.Minute), x509.ExtKeyUsageClientAuth, false},
		"where clocks are half off": {device, "", now.Add(-30 * time.Minute), x509.ExtKeyUsageClientAuth, true},
	} {
		if err := verify(c.cert, c.host, c.at, c.usage); (err == nil) != c.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
	if !ca.IsCA || !ca.MaxPathLenZero || server.IsCA || device.IsCA {
		t.Error("who may sign")
	}
	var uris []string
	for _, u := range device.URIs {
		uris = append(uris, u.String())
	}
	if got := strings.Join(uris, " "); got != "hawser://berth/east-3 hawser://berth/west-1" {
		t.Errorf("device is bound to %s", got)
	}
	for _, name := range []string{"server", "device"} {
		if _, err := tls.LoadX509KeyPair(in(name+".crt"), in(name+".key")); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Keys are their owner's alone, no token is in the folder, and each is another.
func TestFolder(t *testing.T) {
	m, err := makeKeys(t, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Tokens) != 6 {
		t.Errorf("%d tokens, want one for each of five roles and one for the ship", len(m.Tokens))
	}
	entries, err := os.ReadDir(m.Dir)
	if err != nil || len(entries) != 8 {
		t.Fatalf("folder: %v, %v", entries, err)
	}
	different := map[string]bool{}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		if private := strings.HasSuffix(e.Name(), ".key") || e.Name() == "access.yaml"; private && info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %v", e.Name(), info.Mode())
		}
		data, err := os.ReadFile(filepath.Join(m.Dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		for _, token := range m.Tokens {
			if strings.Contains(string(data), token.Token) {
				t.Errorf("the token of %s is in %s", token.Name, e.Name())
			}
			different[token.Token] = true
		}
	}
	if len(different) != len(m.Tokens) {
		t.Errorf("only %d tokens differ", len(different))
	}
	if info, err := os.Stat(m.Dir); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("folder: %v, %v", info.Mode(), err)
	}
}

// Nothing is written over, and what could not be made whole is not there.
func TestNothingIsWrittenOver(t *testing.T) {
	dir := t.TempDir()
	there := filepath.Join(dir, "there")
	if err := os.MkdirAll(there, 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := makeKeys(t, func(o *keyring.Options) { o.Dir = there }); err != nil {
		t.Errorf("an empty folder: %v", err)
	}
	before, err := os.ReadFile(filepath.Join(there, "ca.key"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := makeKeys(t, func(o *keyring.Options) { o.Dir = there }); err == nil || !strings.Contains(err.Error(), "there has access.yaml in it and is left as it is") {
		t.Errorf("again: %v", err)
	}
	if after, err := os.ReadFile(filepath.Join(there, "ca.key")); err != nil || string(after) != string(before) {
		t.Errorf("the key has changed: %v", err)
	}
	for name, change := range map[string]func(*keyring.Options){
		"no berth":     func(o *keyring.Options) { o.Berths = nil },
		"odd berth":    func(o *keyring.Options) { o.Berths = []string{"East"} },
		"odd host":     func(o *keyring.Options) { o.Hosts = []string{"https://x"} },
		"no ship":      func(o *keyring.Options) { o.Ships = []string{" "} },
		"a past":       func(o *keyring.Options) { o.For = -time.Hour },
		"a lifetime":   func(o *keyring.Options) { o.For = 100 * 365 * 24 * time.Hour },
		"a file there": func(o *keyring.Options) { o.Dir = filepath.Join(there, "ca.key") },
	} {
		if _, err := makeKeys(t, func(o *keyring.Options) {
			o.Dir = filepath.Join(dir, "new")
			change(o)
		}); err == nil {
			t.Errorf("%s: made", name)
		}
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}
