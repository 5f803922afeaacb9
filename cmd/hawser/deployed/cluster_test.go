package deployed_test

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"hawser/detect/reading"
	"hawser/ingest/recording"
	"hawser/ingest/simulate/recorded"
	"hawser/services/access/keyring"
	"hawser/services/waittest"
)

// The journal is three NATS servers under the configuration that is handed out, and
// hawser runs on the settings of its manifest. The server that leads the journal is
// killed while readings come in: the alarms are those of a replay, and a hawser that
// begins with an empty folder, with another server gone, still gets every reading. One
// that begins while two are gone, and so nobody leads, waits until one is back.
func TestOneOfThreeJournalServersKilled(t *testing.T) {
	nodes := startCluster(t)
	plan := loadPlan(t, "tanker-12")
	path := recorded.Write(t, plan, storyWithBadPins(plan, 170*time.Second))
	want, batches, first, last := readingsIn(t, path)
	keys := makeKeys(t, plan.Berth)
	settings := settingsOfManifest(t, nodes, keys)

	st := serve(t, keys.client, "--config", settings, "--data", t.TempDir())
	send := start(t, hawser, "send", "--plan", planPath("tanker-12"), "--to", st.grpc, "--keys", keys.dir, "--pace", "20", path)
	st.watched(plan.Berth, float64(batches)/3)
	leader := nodes.leader(t)
	nodes.kill(leader)
	if send.wait(); send.err != nil {
		t.Fatalf("send: %v\n%s", send.err, send.out.String())
	}
	st.watched(plan.Berth, float64(batches))
	raisedAsReplayed(t, st, path)
	st.stored(plan.Berth, first, last, want)
	st.stop()

	nodes.start(t, leader)
	nodes.whole(t)
	second := (leader + 1) % len(nodes)
	nodes.kill(second)
	st = serve(t, keys.client, "--config", settings, "--data", t.TempDir())
	st.stored(plan.Berth, first, last, want)
	st.stop()

	nodes.kill(leader)
	waittest.Until(t, "nobody to lead", func() error {
		info, err := nodes.telemetry(t, 3-leader-second)
		if err == nil && info.Cluster.Leader != "" {
			err = errors.New(info.Cluster.Leader + " leads")
		}
		return err
	})
	st = startServing(t, keys.client, "--config", settings, "--data", t.TempDir())
	waittest.True(t, "hawser to ask again", func() bool { return strings.Contains(st.out.String(), "asking again") })
	nodes.start(t, second)
	st.ready()
	st.stored(plan.Berth, first, last, want)
}

// node is one of the servers that keep the journal.
type node struct {
	name, client, cluster, monitor, dir string
	tls                                 string // folder of the certificate that all have
	process                             *process
}

type cluster []*node

const (
	natsPassword  = "client-secret"
	routePassword = "route-secret"
)

var natsServer string // its program, built for the first test that wants it

// startCluster checks the configuration with the server's own checker and starts
// three servers on it.
func startCluster(t *testing.T) cluster {
	t.Helper()
	if natsServer == "" {
		natsServer = filepath.Join(filepath.Dir(hawser), "nats-server")
		build := exec.Command("go", "build", "-o", natsServer, "github.com/nats-io/nats-server/v2")
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			t.Fatalf("build: %v\n%s", err, out)
		}
	}
	nodes, certificate := cluster{}, journalCertificate(t)
	for i := range 3 {
		nodes = append(nodes, &node{name: fmt.Sprintf("nats-%d", i), tls: certificate, client: freeAddress(t), cluster: freeAddress(t), monitor: freeAddress(t), dir: t.TempDir()})
	}
	check := exec.Command(natsServer, "-c", configOfManifest, "-t")
	check.Env = nodes.env(0)
	if out, err := check.CombinedOutput(); err != nil {
		t.Fatalf("nats-server -t: %v\n%s", err, out)
	}
	for i := range nodes {
		nodes.start(t, i)
	}
	nodes.whole(t)
	return nodes
}

var configOfManifest = filepath.Join(root, "deploy", "kubernetes", "nats.conf")

// env is what the manifest gives a server.
func (c cluster) env(i int) []string {
	var routes []string
	for _, n := range c {
		routes = append(routes, "nats://route:"+routePassword+"@"+n.cluster)
	}
	n := c[i]
	return append(os.Environ(), "NATS_NAME="+n.name, "NATS_LISTEN="+n.client, "NATS_MONITOR="+n.monitor,
		"NATS_CLUSTER_LISTEN="+n.cluster, "NATS_STORE="+n.dir, "NATS_ROUTES=["+strings.Join(routes, ", ")+"]",
		"NATS_PASSWORD="+natsPassword, "NATS_ROUTE_PASSWORD="+routePassword,
		"NATS_TLS_CERT="+filepath.Join(n.tls, "tls.crt"), "NATS_TLS_KEY="+filepath.Join(n.tls, "tls.key"), "NATS_TLS_CA="+filepath.Join(n.tls, "ca.crt"))
}

func (c cluster) start(t *testing.T, i int) {
	t.Helper()
	c[i].process = startWith(t, c.env(i), natsServer, "-c", configOfManifest)
}

func (c cluster) kill(i int) { c[i].process.kill() }

// whole waits until every server says that it has all it should, which is what its
// readiness probe asks.
func (c cluster) whole(t *testing.T) {
	t.Helper()
	for _, n := range c {
		waittest.Until(t, n.name+" to be whole", func() error {
			_, err := inClear().get("http://" + n.monitor + "/healthz")
			return err
		})
	}
}

// leader is the server that leads the journal's telemetry, which must be kept by
// all three.
func (c cluster) leader(t *testing.T) int {
	t.Helper()
	info, err := c.telemetry(t, 0)
	if err != nil {
		t.Fatal(err)
	}
	if info.Config.Replicas != 3 || info.Cluster == nil || len(info.Cluster.Replicas) != 2 {
		t.Fatalf("the journal is kept by %d: %+v", info.Config.Replicas, info.Cluster)
	}
	for i, n := range c {
		if n.name == info.Cluster.Leader {
			return i
		}
	}
	t.Fatalf("nobody leads: %+v", info.Cluster)
	return 0
}

// telemetry is what the servers say of the journal's telemetry to who is connected
// with the i-th. A question put while the leader goes is never answered.
func (c cluster) telemetry(t *testing.T, i int) (*jetstream.StreamInfo, error) {
	t.Helper()
	nc, err := nats.Connect("nats://"+c[i].client, nats.UserInfo("hawser", natsPassword), nats.RootCAs(filepath.Join(c[0].tls, "ca.crt")))
	if err != nil {
		return nil, err
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	s, err := js.Stream(ctx, "hawser-telemetry")
	if err != nil {
		return nil, err
	}
	return s.CachedInfo(), nil
}

// keys is a folder of hawser keys and a client with the token to watch.
type keys struct {
	dir    string
	client *client
}

func makeKeys(t *testing.T, berth string) keys {
	t.Helper()
	made, err := keyring.Make(keyring.Options{Dir: filepath.Join(t.TempDir(), "keys"), Berths: []string{berth}})
	if err != nil {
		t.Fatal(err)
	}
	ca, err := os.ReadFile(filepath.Join(made.Dir, keyring.CAFile))
	if err != nil {
		t.Fatal(err)
	}
	k := keys{dir: made.Dir, client: &client{}}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(ca)
	k.client.http.Transport = &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, DisableKeepAlives: true}
	for _, token := range made.Tokens {
		if token.Grant.Role.String() == "watch" {
			k.client.token = token.Token
		}
	}
	return k
}

// settingsOfManifest is the manifest's settings file with the test's places.
func settingsOfManifest(t *testing.T, c cluster, k keys) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(root, "deploy", "kubernetes", "settings", "hawser.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	password := filepath.Join(dir, "password")
	if err := os.WriteFile(password, []byte(natsPassword+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for from, to := range map[string]string{
		"nats-0.nats:4222": c[0].client, "nats-1.nats:4222": c[1].client, "nats-2.nats:4222": c[2].client,
		"/etc/hawser/tls/tls.crt": filepath.Join(k.dir, "server.crt"), "/etc/hawser/tls/tls.key": filepath.Join(k.dir, "server.key"),
		"/etc/hawser/settings/access.yaml": filepath.Join(k.dir, "access.yaml"), "/etc/hawser/journal/password": password, "/etc/hawser/journal/ca.crt": filepath.Join(c[0].tls, "ca.crt"),
		"/var/lib/hawser/audit.jsonl": filepath.Join(dir, "audit.jsonl"),
	} {
		if strings.Count(text, from) != 1 {
			t.Fatalf("the settings have not one %s", from)
		}
		text = strings.Replace(text, from, to, 1)
	}
	path := filepath.Join(dir, "hawser.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// watched waits until a berth is detected on up to a journal position.
func (s *station) watched(berth string, position float64) {
	s.t.Helper()
	waittest.Until(s.t, fmt.Sprintf("detection up to position %g", position), func() error {
		at, err := s.metrics("hawser_watch_journal_position")
		if at := at[fmt.Sprintf("{berth=%q}", berth)]; err == nil && at < math.Floor(position) {
			err = fmt.Errorf("it is at %g\n%s", at, s.out.String())
		}
		return err
	})
}

// raisedAsReplayed compares what was raised, by condition.
func raisedAsReplayed(t *testing.T, s *station, path string) {
	t.Helper()
	out := filepath.Join(t.TempDir(), "changes.jsonl")
	replay := start(t, hawser, "replay", "--plan", planPath("tanker-12"), "--out", out, path)
	if replay.wait(); replay.err != nil {
		t.Fatalf("replay: %v\n%s", replay.err, replay.out.String())
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{}
	for dec := json.NewDecoder(bytes.NewReader(data)); ; {
		var change struct{ Condition, State string }
		if err := dec.Decode(&change); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if change.State == "raised" {
			want[fmt.Sprintf("{condition=%q}", change.Condition)]++
		}
	}
	if len(want) < 2 {
		t.Fatalf("a replay raises only %v", want)
	}
	got, err := s.metrics("hawser_alarm_raised_total")
	if err != nil {
		t.Fatal(err)
	}
	for condition, n := range want {
		if got[condition] != n {
			t.Errorf("raised %g times %s, a replay %g times", got[condition], condition, n)
		}
	}
}

// total is the number of good readings of a channel and their sum.
type total struct {
	count int
	sum   float64
}

// readingsIn adds up a recording, and gives its span.
func readingsIn(t *testing.T, path string) (totals map[string]total, batches int, first, last time.Time) {
	t.Helper()
	r, err := recording.Open(path, recording.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	totals = map[string]total{}
	for b, err := range r.Blocks() {
		if err != nil {
			t.Fatal(err)
		}
		batches++
		for i := range b.Series {
			s := &b.Series[i]
			one := totals[s.Channel.String()]
			for j, at := range s.Time {
				if at := time.Unix(0, at); first.IsZero() || at.Before(first) {
					first = at
				}
				if at := time.Unix(0, at); at.After(last) {
					last = at
				}
				if s.QualityAt(j) != reading.Bad {
					one.count++
					one.sum += s.Value[j]
				}
			}
			totals[s.Channel.String()] = one
		}
	}
	return totals, batches, first, last.Add(time.Second)
}

// stored waits until the server's history has every reading once.
func (s *station) stored(berth string, from, to time.Time, want map[string]total) {
	s.t.Helper()
	for channel, w := range want {
		q := url.Values{"berth": {berth}, "channel": {channel}, "from": {from.UTC().Format(time.RFC3339Nano)}, "to": {to.UTC().Format(time.RFC3339Nano)}}
		waittest.Until(s.t, "the history of "+channel, func() error {
			body, err := s.client.get(s.url + "/api/history?" + q.Encode())
			if err != nil {
				return err
			}
			var answer []struct{ Value []float64 }
			if err := json.Unmarshal(body, &answer); err != nil {
				return err
			}
			var got total
			for _, a := range answer {
				for _, v := range a.Value {
					got.count++
					got.sum += v
				}
			}
			if got.count != w.count || math.Abs(got.sum-w.sum) > 1e-6*math.Abs(w.sum)+1e-6 {
				return fmt.Errorf("%+v, sent were %+v", got, w)
			}
			return nil
		})
	}
}
