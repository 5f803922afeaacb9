package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	natsd "github.com/nats-io/nats-server/v2/server"

	"hawser/ingest/store/realserver"
	"hawser/services/access/keyring"
	"hawser/services/waittest"
)

// runNATS makes the test binary a NATS server of its own process, on the folder
// in its environment, and prints where it listens. With a folder of keys in the
// environment it speaks TLS only, with clients who have a certificate.
func runNATS(dir string) error {
	o := &natsd.Options{Host: "127.0.0.1", Port: natsd.RANDOM_PORT, JetStream: true, StoreDir: dir, MaxPayload: 9 << 20,
		JetStreamMaxStore: 1 << 40} // for the journal's bound, however much this machine's disk has left
	if max := os.Getenv(natsStore); max != "" {
		var err error
		if o.JetStreamMaxStore, err = strconv.ParseInt(max, 10, 64); err != nil {
			return err
		}
	}
	if port := os.Getenv(natsPort); port != "" {
		var err error
		if o.Port, err = strconv.Atoi(port); err != nil {
			return err
		}
	}
	if keys := os.Getenv(natsKeys); keys != "" {
		config, err := natsd.GenTLSConfig(&natsd.TLSConfigOpts{CertFile: filepath.Join(keys, "server.crt"), KeyFile: filepath.Join(keys, "server.key"),
			CaFile: filepath.Join(keys, keyring.CAFile), Verify: true})
		if err != nil {
			return err
		}
		o.TLS, o.TLSConfig, o.TLSVerify, o.TLSTimeout = true, config, true, 10
	}
	s, err := natsd.NewServer(o)
	if err != nil {
		return err
	}
	s.Start()
	if !s.ReadyForConnections(20 * time.Second) {
		return errors.New("the NATS server does not get ready")
	}
	fmt.Println(s.ClientURL())
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt)
	<-stop
	s.Shutdown()
	s.WaitForShutdown()
	return nil
}

// startNATS starts a NATS server in a process of its own.
func startNATS(t *testing.T, env ...string) (url string) {
	t.Helper()
	url, _ = startNATSOn(t, t.TempDir(), env...)
	return url
}

// startNATSOn starts it on a folder; kill ends it as a power cut does.
func startNATSOn(t *testing.T, dir string, env ...string) (url string, kill func()) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), asNATS+"="+dir), env...)
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	kill = sync.OnceFunc(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	t.Cleanup(kill)
	url, err = bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(url), kill
}

// With the journal in a NATS server outside, the path is the same, and what is
// kept of it outlives the station and its folder.
func TestWithTheJournalOutside(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 9, nil)
	url := startNATS(t)
	s := startServe(t, t.TempDir(), "--journal", url)
	r.send(t, s.grpc)
	s.hasAll(r)
	s.kill()

	s = startServe(t, t.TempDir(), "--journal", url)
	compareTold(t, s.onRecord(), r.told)
	s.stored(r.berth, r.sums) // filled again from the journal
	out := r.send(t, s.grpc)
	if !strings.Contains(out, fmt.Sprintf("%d batches were there before", r.batches)) {
		t.Errorf("sending again says %q", out)
	}
}

// The server that keeps the journal is killed while a line slips and another parts, and
// started again later: all is told as it happens, and in the end every reading and
// every alarm is there, once.
func TestWithTheJournalOutsideKilled(t *testing.T) {
	t.Parallel()
	path := record(t, "tanker-12", 32, nil)
	want := replayed(t, "tanker-12", path)
	sums, batches := inRecording(t, path)
	parted := slices.IndexFunc(want, func(c told) bool { return c.Condition == "line-parted" })
	dir := t.TempDir()
	url, kill := startNATSOn(t, dir)
	s := startServe(t, t.TempDir(), "--journal", url, "--plan", planFile("tanker-12"))
	sent := startHawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--pace", "20", path)
	s.watched("north-jetty-1", 20)
	kill()
	s.tells("not-recorded", "active")
	waittest.Until(t, "the slip and the parting to be told", func() error {
		if got := s.onRecord(); len(got) <= parted {
			return fmt.Errorf("told is %+v", got)
		}
		return nil
	})
	startNATSOn(t, dir, natsPort+"="+url[strings.LastIndex(url, ":")+1:])
	s.tells("not-recorded", "cleared")
	sent()
	s.watched("north-jetty-1", float64(batches))
	s.stored("north-jetty-1", sums)
	compareTold(t, s.onRecord(), want)
	s.kill()
	s = startServe(t, t.TempDir(), "--journal", url)
	compareTold(t, s.onRecord(), want)
	s.stored("north-jetty-1", sums)
}

// A NATS server that may hold less than the journal is to is told by both figures.
func TestJournalServerWithTooLittleRoom(t *testing.T) {
	t.Parallel()
	url := startNATS(t, natsStore+"=1000000000")
	code, _, stderr := hawserCode(t, "serve", "--data", t.TempDir(), "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--journal", url, "--journal-max-bytes", "2GiB")
	want := "the server has no room for 2147483648 bytes: lower max_bytes of the journal or raise the server's max_file_store"
	if code != exitFailed || !strings.Contains(stderr, want) {
		t.Errorf("exit code %d, want 1 and %q:\n%s", code, want, stderr)
	}
	startServe(t, t.TempDir(), "--journal", url, "--journal-max-bytes", "500MiB")
}

// Two servers with folders of their own on one journal outside: the second is refused
// by the name of the first while that one lives. The first, killed, is back at once;
// stopped in order, it leaves the journal to the second.
func TestSecondServerOnOneJournalIsRefused(t *testing.T) {
	t.Parallel()
	url := startNATS(t)
	one, two := t.TempDir(), t.TempDir()
	first := startServe(t, one, "--journal", url)
	refused := func() {
		t.Helper()
		code, _, stderr := hawserCode(t, "serve", "--data", two, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--journal", url)
		want := fmt.Sprintf("the journal is in use by process %d (", first.cmd.Process.Pid)
		if code != exitFailed || strings.Count(stderr, want) != 1 || !strings.Contains(stderr, "with data folder "+one) {
			t.Errorf("exit code %d, want 1 and %q:\n%s", code, want, stderr)
		}
	}
	refused()
	first.kill()
	first = startServe(t, one, "--journal", url)
	refused()
	if _, err := first.stop(); err != nil {
		t.Fatal(err)
	}
	second := startServe(t, two, "--journal", url)
	if said := second.stderr.String(); strings.Contains(said, "waiting") {
		t.Errorf("the second waited for one that had been stopped:\n%s", said)
	}
}

// With TLS and certificates on both sides the journal outside is the same; who has
// another authority for it, or no certificate, is told which file is wrong and ends.
func TestWithTheJournalOutsideOverTLS(t *testing.T) {
	t.Parallel()
	newKeys := func() string {
		made, err := keyring.Make(keyring.Options{Dir: filepath.Join(t.TempDir(), "keys"), Berths: []string{"north-jetty-1"}})
		if err != nil {
			t.Fatal(err)
		}
		return made.Dir
	}
	keys, other := newKeys(), newKeys()
	url := startNATS(t, natsKeys+"="+keys)
	in := func(dir, name string) string { return filepath.Join(dir, name) }
	secured := []string{"--journal", url, "--journal-client-cert", in(keys, keyring.DeviceCertFile), "--journal-client-key", in(keys, keyring.DeviceKeyFile), "--journal-root-cas"}
	r := newTape(t, "tanker-12", 9, nil)
	s := startServe(t, t.TempDir(), append(secured, in(keys, keyring.CAFile))...)
	r.send(t, s.grpc)
	s.hasAll(r)

	for says, args := range map[string][]string{
		"not trusted by root_cas " + in(other, keyring.CAFile): append(secured, in(other, keyring.CAFile)),
		"asks for a client_cert":                               {"--journal", url, "--journal-root-cas", in(keys, keyring.CAFile)},
	} {
		code, _, stderr := hawserCode(t, append([]string{"serve", "--data", t.TempDir(), "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, args...)...)
		if code != exitFailed || !strings.Contains(stderr, says) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("exit code %d, want 1 and one line with %q:\n%s", code, says, stderr)
		}
	}
}

// stores is the ways to keep history: the embedded one, and with
// HAWSER_REAL_SERVERS=1 a real InfluxDB.
func stores(t *testing.T) map[string][]string {
	all := map[string][]string{"embedded": nil}
	if os.Getenv("HAWSER_REAL_SERVERS") != "1" {
		return all
	}
	path, err := realserver.FindInfluxd(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	influx, err := realserver.NewInfluxd(path, t.TempDir())
	if err == nil {
		t.Cleanup(func() { _ = influx.Kill() })
		err = influx.Start(t.Context())
	}
	if err == nil {
		err = influx.CreateDatabase(t.Context(), "moorings")
	}
	if err != nil {
		t.Fatal(err)
	}
	all["influxdb"] = []string{"--store", "influxdb", "--influxdb-url", influx.URL, "--influxdb-bucket", "moorings/autogen"}
	return all
}

// History is the recording, every reading once, in each kind of store, and after
// the station was killed.
func TestStoresHoldWhatWasSent(t *testing.T) {
	r := newTape(t, "coaster-8", 10, nil)
	for name, args := range stores(t) {
		t.Run(name, func(t *testing.T) {
			data := t.TempDir()
			s := startServe(t, data, args...)
			r.send(t, s.grpc)
			s.watched(r.berth, float64(r.batches))
			s.kill()
			s = startServe(t, data, args...)
			s.stored(r.berth, r.sums)
		})
	}
}

// A power cut takes the last that the server outside had not put on disk, of readings,
// alarms and documents: it comes back as it was when it knew neither the plan nor who owns
// it now. The readings that had a receipt are gone, as that server's settings allow; the
// watch goes on, and each alarm was and stays told, once.
func TestWithTheJournalOutsideLosingItsEnd(t *testing.T) {
	t.Parallel()
	path := record(t, "tanker-12", 33, nil)
	raised := func(all []told) []told {
		return slices.DeleteFunc(all, func(c told) bool { return c.State != "raised" })
	}
	want := raised(replayed(t, "tanker-12", path))
	slip := slices.IndexFunc(want, func(c told) bool { return c.Condition == "brake-slip" })
	dir, before, data := t.TempDir(), t.TempDir(), t.TempDir()
	url, kill := startNATSOn(t, dir)
	s := startServe(t, data, "--journal", url)
	if _, err := s.stop(); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(before, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	s = startServe(t, data, "--journal", url, "--plan", planFile("tanker-12"))
	sent := startHawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--pace", "20", path)
	waittest.Until(t, "the slip to be told", func() error {
		if got := s.onRecord(); len(got) <= slip {
			return fmt.Errorf("told is %+v", got)
		}
		return nil
	})
	kill()
	startNATSOn(t, before, natsPort+"="+url[strings.LastIndex(url, ":")+1:])
	sent()
	waittest.Until(t, "the parting to be told", func() error {
		if got := raised(s.onRecord()); len(got) < len(want) {
			return fmt.Errorf("told is %+v", got)
		}
		return nil
	})
	compareTold(t, raised(s.onRecord()), want)
	s.kill()
	s = startServe(t, data, "--journal", url)
	if _, err := s.get("/api/plan/text?berth=north-jetty-1"); err != nil {
		t.Errorf("the plan: %v", err)
	}
	compareTold(t, raised(s.onRecord()), want)
}
