package access_test

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"hawser/services/waittest"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
	"google.golang.org/grpc/codes"
)

// tokenIssuer is an OpenID Connect provider as far as a server of ours sees it:
// its configuration (OpenID Connect Discovery 1.0, section 4) and its keys.
type tokenIssuer struct {
	t      *testing.T
	server *httptest.Server

	mu    sync.Mutex
	keys  jose.JSONWebKeySet
	asked int // for the keys
	down  bool
}

func newIssuer(t *testing.T) *tokenIssuer {
	t.Helper()
	i := &tokenIssuer{t: t}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		i.mu.Lock()
		defer i.mu.Unlock()
		if i.down {
			http.Error(w, "down", http.StatusServiceUnavailable)
			return
		}
		answer(t, w, map[string]any{"issuer": i.server.URL, "jwks_uri": i.server.URL + "/keys",
			"authorization_endpoint": i.server.URL + "/authorise", "token_endpoint": i.server.URL + "/token",
			"id_token_signing_alg_values_supported": []string{"ES256", "RS256"}})
	})
	mux.HandleFunc("GET /keys", func(w http.ResponseWriter, _ *http.Request) {
		i.mu.Lock()
		defer i.mu.Unlock()
		i.asked++
		answer(t, w, i.keys)
	})
	i.server = httptest.NewServer(mux)
	t.Cleanup(i.server.Close)
	return i
}

func answer(t *testing.T, w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(v); err != nil {
		t.Error(err)
	}
}

// publish makes a new key of the set, in place of the others.
func (i *tokenIssuer) publish(id string) *ecdsa.PrivateKey {
	i.t.Helper()
	key := newKey(i.t)
	i.mu.Lock()
	defer i.mu.Unlock()
	i.keys.Keys = []jose.JSONWebKey{{Key: key.Public(), KeyID: id, Algorithm: "ES256", Use: "sig"}}
	return key
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	return key
}

// claims are those of a good token.
func (i *tokenIssuer) claims(change func(map[string]any)) map[string]any {
	now := time.Now()
	c := map[string]any{"iss": i.server.URL, "aud": "hawser-east", "sub": "u-1", "email": "mate@ship.example", "groups": []string{"deck", "east"},
		"iat": now.Unix(), "exp": now.Add(time.Hour).Unix()}
	if change != nil {
		change(c)
	}
	return c
}

// sign makes a token.
func (i *tokenIssuer) sign(alg jose.SignatureAlgorithm, key any, id string, claims map[string]any) string {
	i.t.Helper()
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: alg, Key: jose.JSONWebKey{Key: key, KeyID: id}}, nil)
	must(i.t, err)
	token, err := jwt.Signed(signer).Claims(claims).Serialize()
	must(i.t, err)
	return token
}

// accessFile lets the issuer's people in.
func (i *tokenIssuer) accessFile(more string) string {
	return fmt.Sprintf(`issuer:
  url: %s
  audience: hawser-east
  name: email
  grants:
    - {group: east, role: acknowledge, berth: east-3}
    - {group: harbour, role: operate, site: true}
%s`, i.server.URL, more)
}

func segment(v any) string {
	data, _ := json.Marshal(v) // a map of plain values
	return base64.RawURLEncoding.EncodeToString(data)
}

func TestIssuersTokens(t *testing.T) {
	i := newIssuer(t)
	key := i.publish("k1")
	h := newHouse(t, i.accessFile(""), nil, nil)
	good := i.sign(jose.ES256, key, "k1", i.claims(nil))
	if who, err := h.list(shows{token: good}, "east-3"); err != nil || who != "mate@ship.example" {
		t.Fatalf("good token: %q, %v", who, err)
	}
	_, err := h.list(shows{token: good}, "west-1")
	wantCode(t, "another berth", err, codes.PermissionDenied, "berth west-1: mate@ship.example has not the role watch there")
	wide := i.sign(jose.ES256, key, "k1", i.claims(func(c map[string]any) { c["groups"] = "harbour" }))
	if _, err := h.list(shows{token: wide}, "west-1"); err != nil {
		t.Errorf("one group, as text: %v", err)
	}
	none := i.sign(jose.ES256, key, "k1", i.claims(func(c map[string]any) { delete(c, "groups") }))
	_, err = h.list(shows{token: none}, "")
	wantCode(t, "no group", err, codes.PermissionDenied, "mate@ship.example has not the role watch")

	rsaKey, err := rsa.GenerateKey(rand.Reader, 2048)
	must(t, err)
	public, err := json.Marshal(jose.JSONWebKey{Key: key.Public(), KeyID: "k1"})
	must(t, err)
	parts := strings.Split(good, ".")
	thumb, err := (&jose.JSONWebKey{Key: key.Public()}).Thumbprint(crypto.SHA256)
	must(t, err)
	claims := func(change func(map[string]any)) map[string]any { return i.claims(change) }
	for name, token := range map[string]string{
		"expired":                              i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { c["exp"] = time.Now().Add(-time.Second).Unix() })),
		"not yet":                              i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { c["nbf"] = time.Now().Add(time.Hour).Unix() })),
		"never expires":                        i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { delete(c, "exp") })),
		"wrong audience":                       i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { c["aud"] = "hawser-west" })),
		"no audience":                          i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { delete(c, "aud") })),
		"wrong issuer":                         i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { c["iss"] = "https://elsewhere.example" })),
		"no name":                              i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { delete(c, "email") })),
		"name of no text":                      i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { c["email"] = 7 })),
		"no subject":                           i.sign(jose.ES256, key, "k1", claims(func(c map[string]any) { delete(c, "sub") })),
		"forged":                               i.sign(jose.ES256, newKey(t), "k1", claims(nil)),
		"forged, RSA":                          i.sign(jose.RS256, rsaKey, "k1", claims(nil)),
		"unknown key":                          i.sign(jose.ES256, newKey(t), "k9", claims(nil)),
		"public key as secret (RFC 8725, 2.1)": i.sign(jose.HS256, public, "k1", claims(nil)),
		"thumbprint as secret":                 i.sign(jose.HS256, thumb, "k1", claims(nil)),
		"alg none (RFC 8725, 2.1)":             segment(map[string]any{"alg": "none", "kid": "k1"}) + "." + segment(claims(nil)) + ".",
		"alg None":                             segment(map[string]any{"alg": "None", "kid": "k1"}) + "." + segment(claims(nil)) + ".",
		"no signature":                         parts[0] + "." + parts[1] + ".",
		"claims changed":                       parts[0] + "." + segment(claims(func(c map[string]any) { c["groups"] = "harbour" })) + "." + parts[2],
		"cut off":                              good[:len(good)-10],
		"no token":                             "x",
		"too long":                             strings.Repeat("x", 9000),
	} {
		_, err := h.list(shows{token: token}, "east-3")
		wantCode(t, name, err, codes.Unauthenticated, "token")
		if strings.Contains(err.Error(), token[:len(token)-1]) && len(token) > 5 || strings.Contains(h.audit.String(), token) && len(token) > 5 {
			t.Errorf("%s: the token is told: %v", name, err)
		}
	}
	if who, err := h.list(shows{token: good}, "east-3"); err != nil {
		t.Errorf("good token, after all those: %q, %v", who, err)
	}
}

// A key that the issuer takes into its set is known when a token comes with it,
// one that it drops is not for tokens that come after; made-up key ids do not have
// the issuer asked at every call.
func TestIssuersKeysChange(t *testing.T) {
	i := newIssuer(t)
	old := i.publish("k1")
	h := newHouse(t, i.accessFile(""), nil, nil)
	first := i.sign(jose.ES256, old, "k1", i.claims(nil))
	_, err := h.list(shows{token: first}, "east-3")
	must(t, err)
	fresh := i.publish("k2")
	second := i.sign(jose.ES256, fresh, "k2", i.claims(nil))
	_, err = h.list(shows{token: second}, "east-3")
	must(t, err)
	_, err = h.list(shows{token: first}, "east-3")
	wantCode(t, "a key that is no longer of the set", err, codes.Unauthenticated, "the token is not taken")

	for n := range 60 {
		forged := i.sign(jose.ES256, newKey(t), fmt.Sprint("made-up-", n), i.claims(nil))
		_, err := h.list(shows{token: forged}, "east-3")
		wantCode(t, "made-up key", err, codes.Unauthenticated, "the token is not taken")
	}
	i.mu.Lock()
	asked := i.asked
	i.mu.Unlock()
	if asked >= 60 {
		t.Errorf("the issuer was asked %d times for its keys", asked)
	}
	_, err = h.list(shows{token: second}, "east-3")
	must(t, err)
}

// A server starts without its issuer, lets others in meanwhile and the issuer's
// people when it answers. What the file gives a group is taken up without asking
// the issuer again.
func TestIssuerIsDown(t *testing.T) {
	i := newIssuer(t)
	i.down = true
	key := i.publish("k1")
	token, entry := person("desk", "{role: watch, site: true}")
	h := newHouse(t, i.accessFile("people:\n"+entry), nil, nil)
	theirs := i.sign(jose.ES256, key, "k1", i.claims(nil))
	_, err := h.list(shows{token: theirs}, "east-3")
	wantCode(t, "while it is down", err, codes.Unavailable, "the issuer of tokens does not answer")
	if who, err := h.list(shows{token: token}, ""); err != nil || who != "desk" {
		t.Errorf("a token of our own: %q, %v", who, err)
	}
	i.mu.Lock()
	i.down = false
	i.mu.Unlock()
	waittest.Until(t, "the issuer's people to be let in", func() error {
		_, err := h.list(shows{token: theirs}, "east-3")
		return err
	})
	i.mu.Lock()
	i.down, i.keys.Keys = true, nil
	i.mu.Unlock()
	h.write("access.yaml", []byte(strings.Replace(i.accessFile("people:\n"+entry), "berth: east-3", "berth: west-1", 1)))
	waittest.Until(t, "the group to be at another berth", func() error {
		_, err := h.list(shows{token: theirs}, "west-1")
		return err
	})
	_, err = h.list(shows{token: theirs}, "east-3")
	wantCode(t, "the berth it was at", err, codes.PermissionDenied, "berth east-3")
	h.write("access.yaml", []byte("people:\n"+entry))
	waittest.Until(t, "the issuer to be gone from the file", func() error {
		if _, err := h.list(shows{token: theirs}, "west-1"); err == nil {
			return errors.New("still let in")
		}
		return nil
	})
}

// An issuer behind an authority of its own is believed by that authority only.
func TestIssuersAuthority(t *testing.T) {
	i := newIssuer(t)
	plain := i.server
	i.server = httptest.NewUnstartedServer(plain.Config.Handler)
	i.server.StartTLS()
	t.Cleanup(i.server.Close)
	key := i.publish("k1")
	token := i.sign(jose.ES256, key, "k1", i.claims(nil))
	file := strings.Replace(i.accessFile(""), "  name: email\n", "  name: email\n  ca: issuer.crt\n", 1)
	h := newHouse(t, file, map[string][]byte{"issuer.crt": pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: i.server.Certificate().Raw})}, nil)
	if who, err := h.list(shows{token: token}, "east-3"); err != nil || who != "mate@ship.example" {
		t.Errorf("its own authority: %q, %v", who, err)
	}
	h = newHouse(t, file, map[string][]byte{"issuer.crt": newAuthority(t, "another").PEM}, nil)
	_, err := h.list(shows{token: token}, "east-3")
	wantCode(t, "another authority", err, codes.Unavailable, "certificate signed by unknown authority")
}
