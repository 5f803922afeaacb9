package check

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/loader"
	"github.com/compose-spec/compose-go/v2/types"
	"go.yaml.in/yaml/v3"
)

// compose reads a compose file by the compose specification's own schema and rules.
func compose(t *testing.T, text []byte) (*types.Project, error) {
	t.Helper()
	dir, err := filepath.Abs("../compose")
	if err != nil {
		t.Fatal(err)
	}
	return loader.LoadWithContext(t.Context(), types.ConfigDetails{
		WorkingDir:  dir,
		ConfigFiles: []types.ConfigFile{{Filename: filepath.Join(dir, "compose.yaml"), Content: text}},
		Environment: types.Mapping{},
	})
}

func TestCompose(t *testing.T) {
	text, err := os.ReadFile("../compose/compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	p, err := compose(t, text)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Services) != 5 {
		t.Errorf("%d services", len(p.Services))
	}
	for _, s := range p.Services {
		if s.Build != nil {
			if _, err := os.Stat(filepath.Join(s.Build.Context, s.Build.Dockerfile)); err != nil {
				t.Error(err)
			}
		} else if !strings.Contains(s.Image, ":") {
			t.Errorf("%s: an image of no version", s.Name)
		}
		for _, v := range s.Volumes {
			if v.Type != types.VolumeTypeBind || slices.Contains(strings.Split(v.Source, string(filepath.Separator)), "keys") {
				continue // what the file's head says how to make
			}
			if _, err := os.Stat(v.Source); err != nil {
				t.Errorf("%s mounts what is not there: %v", s.Name, err)
			}
			if !v.ReadOnly {
				t.Errorf("%s may write to %s", s.Name, v.Source)
			}
		}
		for _, secret := range s.Secrets {
			if _, ok := p.Secrets[secret.Source]; !ok {
				t.Errorf("%s: no secret %s", s.Name, secret.Source)
			}
			if !bytes.Contains(text, []byte("> secrets/"+secret.Source)) {
				t.Errorf("the file does not say how to make the secret %s", secret.Source)
			}
		}
	}
}

// The reading finds what it is for.
func TestComposeFaultsAreFound(t *testing.T) {
	text, err := os.ReadFile("../compose/compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{
		"restart: unless-stopped":        "restrat: unless-stopped",
		"read_only: true":                "read_only: 7",
		"- hawser:/var/lib/hawser":       "- nowhere:/var/lib/hawser",
		"secrets: [influxdb-token]":      "secrets: [no-such]",
		"stop_grace_period: 15s":         "stop_grace_period: soon",
		"image: grafana/grafana:12.1.0":  "image: [grafana]",
		"GF_ANALYTICS_CHECK_FOR_UPDATES": "? [",
	} {
		broken := bytes.Replace(text, []byte(from), []byte(to), 1)
		if bytes.Equal(broken, text) {
			t.Errorf("the file has no %q", from)
		}
		if _, err := compose(t, broken); err == nil {
			t.Errorf("%q is taken", to)
		}
	}
}

// The viewer is given the two sources that the boards ask for, and the boards' folder.
func TestViewerIsProvisioned(t *testing.T) {
	var sources struct {
		APIVersion  int `yaml:"apiVersion"`
		Datasources []struct {
			Name, UID, Type, Access, URL string
			IsDefault                    bool              `yaml:"isDefault"`
			JSONData                     map[string]string `yaml:"jsonData"`
			SecureJSONData               map[string]string `yaml:"secureJsonData"`
		}
	}
	strictly(t, "../compose/viewer/sources.yaml", &sources)
	var kinds []string
	for _, s := range sources.Datasources {
		kinds = append(kinds, s.Type)
		if s.Type == "influxdb" && (s.JSONData["version"] != "Flux" || s.JSONData["defaultBucket"] != "moorings") {
			t.Errorf("the boards ask in Flux, of the default bucket: %+v", s)
		}
	}
	if !slices.Equal(kinds, []string{"prometheus", "influxdb"}) {
		t.Errorf("sources %q", kinds)
	}
	var boards struct {
		APIVersion int `yaml:"apiVersion"`
		Providers  []struct {
			Name, Folder, Type string
			AllowUIUpdates     bool `yaml:"allowUiUpdates"`
			Options            struct{ Path string }
		}
	}
	strictly(t, "../compose/viewer/boards.yaml", &boards)
	if len(boards.Providers) != 1 || boards.Providers[0].Options.Path != "/etc/hawser/dashboards" {
		t.Errorf("boards %+v", boards)
	}
}

func strictly(t *testing.T, path string, into any) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	dec := yaml.NewDecoder(f)
	dec.KnownFields(true)
	if err := dec.Decode(into); err != nil {
		t.Errorf("%s: %v", path, err)
	}
}
