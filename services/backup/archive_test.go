package backup_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hawser/services/backup"
)

// archive writes an archive of two parts and gives its bytes.
func archive(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	w := backup.NewWriter(&b, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	for _, name := range []string{"journal/telemetry", "store/index"} {
		if err := w.Add(name, func(w io.Writer) error {
			for range 3 {
				if _, err := io.WriteString(w, strings.Repeat("of "+name+" ", 500)); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(backup.Manifest{By: "v1", Folder: 1}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func put(t testing.TB, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "backup.zip")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// open opens and checks an archive.
func open(path string) (*backup.Archive, error) {
	a, err := backup.Open(path)
	if err != nil {
		return nil, err
	}
	if err := a.Check(context.Background()); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	return a, nil
}

func TestRoundTrip(t *testing.T) {
	a, err := open(put(t, archive(t)))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	m := a.Manifest
	if m.Format != backup.Format || m.Folder != 1 || m.Made.Year() != 2026 || m.By != "v1" || len(m.Parts) != 2 {
		t.Errorf("%+v", m)
	}
	if _, err := a.Part("store/wal"); err == nil {
		t.Error("a part that was not put in is there")
	}
	r, err := a.Part("store/index")
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(r)
	if err != nil || string(data) != strings.Repeat("of store/index ", 1500) || r.Close() != nil {
		t.Errorf("%.40s, %v", data, err)
	}
}

// rewritten is the archive with its files changed by a function; nil drops one.
func rewritten(t *testing.T, data []byte, change func(name string, content []byte) (string, []byte)) []byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		content, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		name, content := change(f.Name, content)
		if content == nil {
			continue
		}
		out, err := w.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := out.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Every kind of damage is refused, and the part that has it is named.
func TestDamageIsNamed(t *testing.T) {
	whole := archive(t)
	change := func(of string, to func([]byte) []byte) []byte {
		return rewritten(t, whole, func(name string, content []byte) (string, []byte) {
			if name == of {
				content = to(content)
			}
			return name, content
		})
	}
	replace := func(old, by string) func([]byte) []byte {
		return func(b []byte) []byte { return bytes.Replace(b, []byte(old), []byte(by), 1) }
	}
	flipped := bytes.Clone(whole)
	flipped[bytes.Index(whole, []byte("of store/index"))+700] ^= 1
	for _, c := range []struct {
		name string
		data []byte
		says string
	}{
		{"a byte on the disk", flipped, "part store/index: damaged"},
		{"another content", change("journal/telemetry", replace("of", "OF")), "part journal/telemetry: damaged: its SHA-256 is"},
		{"a shorter one", change("journal/telemetry", func(b []byte) []byte { return b[1:] }), "part journal/telemetry: damaged: 31499 bytes, the manifest says 31500"},
		{"a part is missing", change("store/index", func([]byte) []byte { return nil }), "part store/index: is missing"},
		{"a part too many", rewritten(t, whole, func(name string, b []byte) (string, []byte) {
			if name == "manifest.json" {
				return name, replace(`"store/index"`, `"journal/telemetry2"`)(b)
			}
			return name, b
		}), "part journal/telemetry2: is missing"},
		{"cut off", whole[:len(whole)-200], "not a backup, or cut off before its manifest"},
		{"nothing", nil, "not a backup, or cut off"},
		{"no manifest", change("manifest.json", func([]byte) []byte { return nil }), "not a backup: it has no manifest.json"},
		{"a later format", change("manifest.json", replace(`"format": 1`, `"format": 9`)), "part manifest.json: format 9, made by a later version of hawser (v1); this one knows formats up to 1"},
		{"no format", change("manifest.json", replace(`"format": 1`, `"format": 0`)), "part manifest.json: format 0"},
		{"no JSON", change("manifest.json", replace(`{`, `<`)), "part manifest.json: damaged"},
		{"a way out of the folder", change("manifest.json", replace(`"store/index"`, `"../index"`)), `"../index" is no name of a part`},
		{"a part twice", change("manifest.json", replace(`"store/index"`, `"journal/telemetry"`)), "there twice"},
	} {
		path := put(t, c.data)
		a, err := open(path)
		var fault *backup.Error
		if a != nil || !errors.As(err, &fault) || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), path) {
			t.Errorf("%s: %v, want %s", c.name, err, c.says)
		}
	}
	if _, err := backup.Open(filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

// A part that cannot be written makes no archive.
func TestWriterFails(t *testing.T) {
	full := errors.New("no space left on device")
	w := backup.NewWriter(io.Discard, time.Time{})
	if err := w.Add("journal/telemetry", func(io.Writer) error { return full }); !errors.Is(err, full) || !strings.Contains(err.Error(), "journal/telemetry") {
		t.Errorf("%v", err)
	}
	for _, name := range []string{"", ".", "/etc/passwd", "../x", "manifest.json"} {
		if err := w.Add(name, func(io.Writer) error { return nil }); err == nil {
			t.Errorf("part %q", name)
		}
	}
}

// Whatever the bytes are: an archive whose parts are those of its manifest, or an error.
func FuzzOpen(f *testing.F) {
	whole := archive(f)
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := open(put(t, data))
		if err != nil {
			return
		}
		defer a.Close()
		for _, p := range a.Manifest.Parts {
			r, err := a.Part(p.Name)
			if err != nil {
				t.Fatal(err)
			}
			n, err := io.Copy(io.Discard, r)
			if err != nil || n != p.Bytes || r.Close() != nil {
				t.Fatalf("%s: %d bytes, %v", p.Name, n, err)
			}
		}
	})
}
