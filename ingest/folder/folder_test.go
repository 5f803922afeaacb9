package folder_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/folder"
)

func TestForms(t *testing.T) {
	for _, c := range []struct {
		name    string
		version string // "" for no file
		journal bool
		found   int
		says    string // of the error
	}{
		{"new", "", false, folder.Form, ""},
		{"from before there were forms", "", true, 0, ""},
		{"present", "hawser-data 1\n", true, 1, ""},
		{"later", "hawser-data 7\n", true, 7, "is of form 7, written by a later version of hawser; this one knows forms up to 1"},
		{"spoilt", "hawser-da", true, 0, `want "hawser-data" and a form, not "hawser-da"`},
		{"of another program", "12.4\n", true, 0, "data folder"},
		{"no form", "hawser-data 0\n", true, 0, "want"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "data")
			path := filepath.Join(dir, "version")
			if c.journal {
				must(t, os.MkdirAll(filepath.Join(dir, "journal"), 0o755))
			}
			if c.version != "" {
				must(t, os.WriteFile(path, []byte(c.version), 0o644))
			}
			found, err := folder.Open(dir)
			if found != c.found {
				t.Errorf("form %d, want %d", found, c.found)
			}
			var newer *folder.NewerError
			if errors.As(err, &newer) != (c.found > folder.Form) {
				t.Errorf("%v", err)
			}
			data, _ := os.ReadFile(path)
			switch {
			case c.says != "":
				if err == nil || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), dir) {
					t.Errorf("%v, want %s", err, c.says)
				}
				if string(data) != c.version {
					t.Errorf("what was refused was changed to %q", data)
				}
			case err != nil:
				t.Error(err)
			case string(data) != "hawser-data 1\n":
				t.Errorf("version %q", data)
			}
		})
	}
}

// A restore that was cut off is no data folder.
func TestRestoringIsNoFolder(t *testing.T) {
	dir := t.TempDir()
	must(t, folder.Make(filepath.Join(dir, folder.Restoring), 1))
	if _, err := folder.Open(dir); err == nil || !strings.Contains(err.Error(), "not restored to the end") {
		t.Error(err)
	}
}

// A step that fails leaves the form as it was, to be taken again.
func TestFolderThatCannotBeWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	must(t, os.WriteFile(path, nil, 0o644))
	if _, err := folder.Open(filepath.Join(path, "data")); err == nil {
		t.Error("a folder within a file")
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
