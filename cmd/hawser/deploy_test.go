package main

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"hawser/services/access/keyring"
)

var metricName = regexp.MustCompile(`\bhawser_[a-z0-9_]+`)

// Rules ask only for metrics that a running server has. The boards' queries are run
// on real servers in deployed.
func TestRulesAskForLiveMetrics(t *testing.T) {
	t.Parallel()
	path := filepath.Join("..", "..", "deploy", "prometheus", "rules.yml")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	asked := metricName.FindAllString(string(data), -1)
	if len(asked) < 8 {
		t.Fatalf("only %d metrics are asked for: %v", len(asked), asked)
	}

	// With a destination for alarms, though nobody is there.
	config := filepath.Join(t.TempDir(), "hawser.yaml")
	if err := os.WriteFile(config, []byte("deliver:\n  alertmanagers:\n    - {name: pagers, url: \"http://127.0.0.1:1\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := startServe(t, t.TempDir(), "--config", config)
	recording := record(t, "tanker-12", 8, nil)
	_, batches := inRecording(t, recording)
	hawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, recording)
	s.watched("north-jetty-1", float64(batches))
	body, err := s.get("/metrics")
	if err != nil {
		t.Fatal(err)
	}
	guarded := startSecured(t, nil).get("operate", "/metrics") // with a certificate, that may run out
	var live []string
	for line := range strings.Lines(body + guarded) {
		live = append(live, metricName.FindString(line))
	}
	for _, name := range asked {
		if !slices.Contains(live, name) && !slices.Contains(live, strings.TrimSuffix(name, "_total")) {
			t.Errorf("%s asks for %s, which a running server does not have", path, name)
		}
	}
}

// The settings file that is handed out is read without a word, and a flag goes
// before it.
func TestSettingsFileHandedOut(t *testing.T) {
	cfg := defaultConfig()
	cmd := &cobra.Command{}
	cfg.bind(cmd)
	if err := cmd.ParseFlags([]string{"--http", "127.0.0.1:0", "--plan", "a.yaml", "--journal-max-bytes", "1GiB"}); err != nil {
		t.Fatal(err)
	}
	if err := cfg.load(cmd, filepath.Join("..", "..", "deploy", "hawser.yaml")); err != nil {
		t.Fatal(err)
	}
	if cfg.HTTP != "127.0.0.1:0" || cfg.GRPC != "127.0.0.1:7411" || cfg.Journal.MaxBytes != 1<<30 || !slices.Equal(cfg.Plans, []string{"a.yaml"}) {
		t.Errorf("flags and file give %+v", cfg)
	}
}

// The settings of compose and Kubernetes name nothing that hawser does not have.
func TestSettingsOfDeploymentsAreRead(t *testing.T) {
	for path, check := range map[string]func(config) bool{
		"compose/hawser.yaml": func(c config) bool {
			return c.Store.Kind == storeInflux && c.Store.TokenFile != "" && len(c.Deliver.Alertmanagers) == 1
		},
		"kubernetes/settings/hawser.yaml": func(c config) bool {
			return c.Journal.Replicas == 3 && strings.Count(c.Journal.URL, "nats://") == 3 && c.Journal.PasswordFile != "" && c.Journal.RootCAs != ""
		},
	} {
		cfg := defaultConfig()
		if err := cfg.load(&cobra.Command{}, filepath.Join("..", "..", "deploy", path)); err != nil {
			t.Error(err)
		} else if !check(cfg) || cfg.TLS.Cert == "" || cfg.Access.File == "" {
			t.Errorf("%s: %+v", path, cfg)
		}
	}
}

// What the settings file shows as comments is read too, once it is none.
func TestSettingsShownAsCommentsAreRead(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "hawser.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	_, shown, found := strings.Cut(string(data), "\n# deliver:\n")
	if !found {
		t.Fatal("no deliver section is shown")
	}
	_, ropes, found := strings.Cut(string(data), "\n# curves:\n")
	ropes, _, _ = strings.Cut(ropes, "\n# Where")
	if !found {
		t.Fatal("no curves are shown")
	}
	_, outside, found := strings.Cut(string(data), "\n  # url:")
	outside, _, _ = strings.Cut(outside, "\nstore:")
	if !found {
		t.Fatal("no journal outside is shown")
	}
	path := filepath.Join(t.TempDir(), "hawser.yaml")
	if err := os.WriteFile(path, []byte("journal:\n  url:"+strings.ReplaceAll(outside, "\n  # ", "\n  ")+"\ncurves:\n"+strings.ReplaceAll("\n"+ropes, "\n# ", "\n")+"\ndeliver:\n"+strings.ReplaceAll("\n"+shown, "\n# ", "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg := defaultConfig()
	if err := cfg.load(&cobra.Command{}, path); err != nil {
		t.Fatal(err)
	}
	d := cfg.Deliver
	if len(d.Alertmanagers) != 1 || len(d.Webhooks) != 2 || d.Webhooks[1].Level != 1 || len(d.Brokers) != 1 || d.Brokers[0].Berths[0] != "east-3" || d.Alertmanagers[0].Least != "alarm" {
		t.Errorf("deliver: %+v", d)
	}
	if j := cfg.Journal; strings.Count(j.URL, "tls://") != 3 || j.Replicas != 3 || j.RootCAs == "" || j.ClientCert == "" || j.UserCredentials == "" {
		t.Errorf("journal: %+v", j)
	}
	if cfg.Curves["hmpe"].M != 9 {
		t.Errorf("curves: %+v", cfg.Curves)
	}
}

// The access files that are handed out are read without a word.
func TestAccessFilesHandedOut(t *testing.T) {
	made, err := keyring.Make(keyring.Options{Dir: filepath.Join(t.TempDir(), "keys"), Berths: []string{"east-3"}})
	if err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{
		filepath.Join("..", "..", "deploy", "access.yaml"):                           "access.yaml",
		filepath.Join("..", "..", "deploy", "kubernetes", "settings", "access.yaml"): "access-kubernetes.yaml",
		filepath.Join(made.Dir, "ca.crt"):                                            "devices-ca.crt",
	} {
		data, err := os.ReadFile(from)
		if err == nil {
			err = os.WriteFile(filepath.Join(made.Dir, to), data, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"access.yaml", "access-kubernetes.yaml"} {
		cfg := defaultConfig()
		cfg.HTTP, cfg.GRPC, cfg.Data = "127.0.0.1:0", "127.0.0.1:0", t.TempDir()
		cfg.TLS = tlsConfig{Cert: filepath.Join(made.Dir, "server.crt"), Key: filepath.Join(made.Dir, "server.key")}
		cfg.Access.File = filepath.Join(made.Dir, name)
		st, err := openStation(t.Context(), cfg, newLog(io.Discard, 0))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	}
}
