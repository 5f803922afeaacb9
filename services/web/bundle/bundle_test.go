package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What is committed is what the sources make: else a page would not do what its
// source says.
func TestBuiltIsUpToDate(t *testing.T) {
	files, err := bundle(filepath.Join("..", "app"))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 4 {
		t.Fatalf("only %d files", len(files))
	}
	for name, want := range files {
		got, err := os.ReadFile(filepath.Join("..", "built", name))
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("built/%s is not what app/ makes (%v): run go generate ./services/web", name, err)
		}
	}
	built, err := os.ReadDir(filepath.Join("..", "built"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range built {
		if files[f.Name()] == nil {
			t.Errorf("built/%s is made of nothing in app/", f.Name())
		}
	}
}

// Sources that are wrong are refused with their place.
func TestWrongSourceIsRefused(t *testing.T) {
	for name, row := range map[string]struct{ source, says string }{
		"syntax":   {"const = 1;", "page.ts:1:6"},
		"import":   {`import "./nowhere";`, "nowhere"},
		"no style": {"export {};", "imports no style sheet"},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "page.ts"), []byte(row.source), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := bundle(dir); err == nil || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: %v, want an error that says %q", name, err, row.says)
		}
	}
}
