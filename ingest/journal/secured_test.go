package journal_test

import (
	"crypto/x509"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"

	"hawser/ingest/journal"
	"hawser/services/access/certtest"
	"hawser/services/waittest"
)

// startSecured starts a real server with JetStream, in this process, on loopback.
func startSecured(t *testing.T, o *server.Options) *server.Server {
	t.Helper()
	o.Host, o.NoLog, o.NoSigs, o.JetStream, o.MaxPayload = "127.0.0.1", true, true, true, 8<<20
	if o.Port == 0 {
		o.Port = server.RANDOM_PORT
	}
	if o.StoreDir == "" {
		o.StoreDir = t.TempDir()
	}
	ns, err := server.NewServer(o)
	must(t, err)
	ns.Start()
	t.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
	if !ns.ReadyForConnections(20 * time.Second) {
		t.Fatal("the server does not get ready")
	}
	return ns
}

// withTLS is a server's options with a certificate; it asks for one of clients'
// authority where that is given.
func withTLS(t *testing.T, cert, key, clients string) *server.Options {
	t.Helper()
	config, err := server.GenTLSConfig(&server.TLSConfigOpts{CertFile: cert, KeyFile: key, CaFile: clients, Verify: clients != ""})
	must(t, err)
	return &server.Options{TLS: true, TLSConfig: config, TLSTimeout: 10, TLSVerify: clients != ""}
}

// serves opens a journal that works, over TLS on every connection where secure.
func serves(t *testing.T, ns *server.Server, o journal.Options, secure bool) *journal.Journal {
	t.Helper()
	o.URL = ns.ClientURL()
	j := open(t, o)
	appendMany(t, j, "jetty-1", 1, 3)
	if n, err := j.LastSequence(t.Context(), "jetty-1", "gw"); n != 3 || err != nil {
		t.Errorf("last sequence %d, %v", n, err)
	}
	conns, err := ns.Connz(nil)
	must(t, err)
	for _, c := range conns.Conns {
		if (c.TLSVersion != "") != secure {
			t.Errorf("connection %q has TLS %q", c.Name, c.TLSVersion)
		}
	}
	if conns.NumConns != 2 {
		t.Errorf("%d connections", conns.NumConns)
	}
	return j
}

// refuses wants one line of error with all that it is to say, and no secret.
func refuses(t *testing.T, url string, o journal.Options, says ...string) {
	t.Helper()
	o.URL = url
	j, err := journal.Open(t.Context(), o)
	if err == nil {
		closeJournal(t, j)
		t.Errorf("opened, want an error with %q", says)
		return
	}
	for _, words := range says {
		if !strings.Contains(err.Error(), words) {
			t.Errorf("error %q, want %q in it", err, words)
		}
	}
	if strings.Contains(err.Error(), "\n") || strings.Contains(err.Error(), "secret") {
		t.Errorf("error %q", err)
	}
}

func TestTLSOutside(t *testing.T) {
	a, other := certtest.New(t, "authority"), certtest.New(t, "authority")
	cert, key := issue(a, "server", time.Now().Add(time.Hour))
	ns := startSecured(t, withTLS(t, cert, key, ""))
	url := ns.ClientURL()
	serves(t, ns, journal.Options{RootCAs: a.File}, true)

	refuses(t, url, journal.Options{RootCAs: other.File}, "certificate is not trusted by root_cas "+other.File, "unknown authority")
	refuses(t, url, journal.Options{}, "not trusted by the system's authorities", "unknown authority")
	missing := filepath.Join(a.Dir, "missing.crt")
	refuses(t, url, journal.Options{RootCAs: missing}, "root_cas "+missing, "no such file")
	refuses(t, url, journal.Options{RootCAs: key}, "root_cas "+key, "failed to parse")
	refuses(t, strings.Replace(url, "127.0.0.1", "localhost", 1), journal.Options{RootCAs: a.File}, "root_cas "+a.File, "localhost")

	clear := startSecured(t, &server.Options{})
	serves(t, clear, journal.Options{}, false)
	refuses(t, clear.ClientURL(), journal.Options{RootCAs: a.File}, "does not speak TLS")
	refuses(t, strings.Replace(clear.ClientURL(), "nats://", "tls://", 1), journal.Options{}, "does not speak TLS")
}

func TestMutualTLSOutside(t *testing.T) {
	a, clients, other := certtest.New(t, "authority"), certtest.New(t, "authority"), certtest.New(t, "authority")
	cert, key := issue(a, "server", time.Now().Add(time.Hour))
	mine, mineKey := issue(clients, "hawser", time.Now().Add(time.Hour))
	ns := startSecured(t, withTLS(t, cert, key, clients.File))
	url := ns.ClientURL()
	serves(t, ns, journal.Options{RootCAs: a.File, ClientCert: mine, ClientKey: mineKey}, true)

	refuses(t, url, journal.Options{RootCAs: a.File}, "asks for a client_cert, of which there is none")
	foreign, foreignKey := issue(other, "foreign", time.Now().Add(time.Hour))
	refuses(t, url, journal.Options{RootCAs: a.File, ClientCert: foreign, ClientKey: foreignKey}, "as one does that does not take client_cert "+foreign)
	refuses(t, url, journal.Options{RootCAs: a.File, ClientCert: mine, ClientKey: foreignKey}, "client_cert "+mine+" with client_key "+foreignKey, "does not match")
	refuses(t, url, journal.Options{RootCAs: a.File, ClientCert: mine}, "go together")
	old, oldKey := issue(clients, "old", time.Now().Add(-time.Hour))
	refuses(t, url, journal.Options{RootCAs: a.File, ClientCert: old, ClientKey: oldKey}, "client_cert "+old, "valid only from")
}

// A server whose authority is replaced is connected with again once the file of the
// authorities is.
func TestAuthorityReplaced(t *testing.T) {
	a, next := certtest.New(t, "authority"), certtest.New(t, "authority")
	cert, key := issue(a, "server", time.Now().Add(time.Hour))
	trusted := filepath.Join(t.TempDir(), "trusted.crt")
	replace := func(with string) {
		data, err := os.ReadFile(with)
		must(t, err)
		must(t, os.WriteFile(trusted, data, 0o600))
	}
	replace(a.File)
	ns := startSecured(t, withTLS(t, cert, key, ""))
	j := serves(t, ns, journal.Options{RootCAs: trusted}, true)
	store, port := ns.StoreDir(), ns.Addr().(*net.TCPAddr).Port
	ns.Shutdown()
	ns.WaitForShutdown()
	cert, key = issue(next, "server", time.Now().Add(time.Hour))
	o := withTLS(t, cert, key, "")
	o.StoreDir, o.Port = store, port
	startSecured(t, o)
	replace(next.File)
	waittest.True(t, "the server's return", func() bool {
		n, err := j.LastSequence(t.Context(), "jetty-1", "gw")
		return err == nil && n == 3
	})
	appendMany(t, j, "jetty-1", 4, 6)
}

func TestCredentialsOutside(t *testing.T) {
	t.Run("token", func(t *testing.T) {
		ns := startSecured(t, &server.Options{Authorization: "the secret token"})
		serves(t, ns, journal.Options{Token: "the secret token"}, false)
		refuses(t, ns.ClientURL(), journal.Options{Token: "another secret"}, "does not let the token in")
		refuses(t, ns.ClientURL(), journal.Options{}, "neither user, user_credentials nor token")
	})
	t.Run("user", func(t *testing.T) {
		ns := startSecured(t, &server.Options{Username: "hawser", Password: "a secret"})
		serves(t, ns, journal.Options{User: "hawser", Password: "a secret"}, false)
		refuses(t, ns.ClientURL(), journal.Options{User: "hawser", Password: "no secret"}, "does not let user hawser in")
	})
	t.Run("user credentials", func(t *testing.T) {
		o, good, bad := operated(t)
		ns := startSecured(t, o)
		serves(t, ns, journal.Options{UserCredentials: good}, false)
		refuses(t, ns.ClientURL(), journal.Options{UserCredentials: bad}, "does not let user_credentials "+bad+" in")
		missing := filepath.Join(t.TempDir(), "missing.creds")
		refuses(t, ns.ClientURL(), journal.Options{UserCredentials: missing}, "user_credentials", missing)
		empty := filepath.Join(t.TempDir(), "empty.creds")
		must(t, os.WriteFile(empty, nil, 0o600))
		refuses(t, ns.ClientURL(), journal.Options{UserCredentials: empty}, empty)
	})
}

// operated is a server with an operator, an account that may keep streams, and the
// credentials files of a user of it and of a user of an account it does not know.
func operated(t *testing.T) (o *server.Options, good, bad string) {
	t.Helper()
	operator, err := nkeys.CreateOperator()
	must(t, err)
	public := func(k nkeys.KeyPair) string {
		p, err := k.PublicKey()
		must(t, err)
		return p
	}
	claims := jwt.NewOperatorClaims(public(operator))
	text, err := claims.Encode(operator)
	must(t, err)
	claims, err = jwt.DecodeOperatorClaims(text)
	must(t, err)
	known := &server.MemAccResolver{}
	account := func(streams int64, known *server.MemAccResolver) nkeys.KeyPair {
		k, err := nkeys.CreateAccount()
		must(t, err)
		a := jwt.NewAccountClaims(public(k))
		a.Limits.JetStreamLimits = jwt.JetStreamLimits{DiskStorage: streams, MemoryStorage: streams, Streams: streams, Consumer: streams}
		text, err := a.Encode(operator)
		must(t, err)
		if known != nil {
			must(t, known.Store(public(k), text))
		}
		return k
	}
	user := func(name string, known *server.MemAccResolver) string {
		account := account(-1, known)
		u, err := nkeys.CreateUser()
		must(t, err)
		seed, err := u.Seed()
		must(t, err)
		text, err = jwt.NewUserClaims(public(u)).Encode(account)
		must(t, err)
		file, err := jwt.FormatUserConfig(text, seed)
		must(t, err)
		path := filepath.Join(t.TempDir(), name+".creds")
		must(t, os.WriteFile(path, file, 0o600))
		return path
	}
	good, bad = user("hawser", known), user("stranger", nil)
	return &server.Options{TrustedOperators: []*jwt.OperatorClaims{claims}, AccountResolver: known,
		SystemAccount: public(account(0, known))}, good, bad
}

// issue signs a certificate that is good until a time.
func issue(a *certtest.Authority, name string, until time.Time) (cert, key string) {
	s := a.Sign(name, func(c *x509.Certificate) { c.NotAfter = until })
	return s.CertFile, s.KeyFile
}
