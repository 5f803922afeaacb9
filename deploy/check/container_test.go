package check

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/moby/buildkit/frontend/dockerfile/instructions"
	"github.com/moby/buildkit/frontend/dockerfile/linter"
	"github.com/moby/buildkit/frontend/dockerfile/parser"
	"github.com/moby/patternmatcher"
	"github.com/moby/patternmatcher/ignorefile"
)

// stages reads a container file with the builder's own parser and linter.
func stages(text []byte) (all []instructions.Stage, remarks []string, err error) {
	parsed, err := parser.Parse(bytes.NewReader(text))
	if err != nil {
		return nil, nil, err
	}
	for _, w := range parsed.Warnings {
		remarks = append(remarks, w.Short)
	}
	lint := linter.New(&linter.Config{Warn: func(rule, _, _, message string, _ []parser.Range) {
		remarks = append(remarks, rule+": "+message)
	}})
	all, _, err = instructions.Parse(parsed.AST, lint)
	return all, remarks, err
}

func TestContainerFile(t *testing.T) {
	text, err := os.ReadFile("../container/Containerfile")
	if err != nil {
		t.Fatal(err)
	}
	all, remarks, err := stages(text)
	if err != nil || len(remarks) > 0 {
		t.Fatalf("%v, %q", err, remarks)
	}
	names := map[string]bool{}
	for _, s := range all {
		for _, c := range s.Commands {
			if copies, ok := c.(*instructions.CopyCommand); ok && copies.From != "" && !names[copies.From] {
				t.Errorf("copies from %s, which is no stage before it", copies.From)
			}
		}
		names[s.Name] = true
	}
	last := all[len(all)-1]
	user, entry := "", []string(nil)
	for _, c := range last.Commands {
		switch c := c.(type) {
		case *instructions.UserCommand:
			user = c.User
		case *instructions.EntrypointCommand:
			if !c.PrependShell {
				entry = c.CmdLine
			}
		case *instructions.RunCommand:
			t.Error("the last stage has no shell to run anything")
		}
	}
	if last.BaseName != "scratch" || user != "65532:65532" || len(entry) != 1 || entry[0] != "/hawser" {
		t.Errorf("image from %s as user %q runs %q", last.BaseName, user, entry)
	}
	if _, remarks, err = stages([]byte("FROM golang as Build\nMAINTAINER nobody\n")); err != nil || len(remarks) < 3 {
		t.Errorf("the linter finds only %q, %v", remarks, err)
	}
}

// What the build reads is not kept out of its context, and tests are.
func TestBuildContext(t *testing.T) {
	f, err := os.Open("../container/Containerfile.dockerignore")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	patterns, err := ignorefile.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	ignored, err := patternmatcher.New(patterns)
	if err != nil {
		t.Fatal(err)
	}
	out := func(path string) bool {
		yes, err := ignored.MatchesOrParentMatches(path)
		if err != nil {
			t.Fatal(err)
		}
		return yes
	}
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	list := exec.CommandContext(t.Context(), "go", "list", "-deps", "-json=Dir,GoFiles,EmbedFiles,Standard", "./cmd/hawser")
	list.Dir = root
	text, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	files := []string{"go.mod", "go.sum"}
	for dec := json.NewDecoder(bytes.NewReader(text)); ; {
		var p struct {
			Dir                 string
			GoFiles, EmbedFiles []string
		}
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if dir, err := filepath.Rel(root, p.Dir); err == nil && !strings.HasPrefix(dir, "..") {
			for _, name := range append(p.GoFiles, p.EmbedFiles...) {
				files = append(files, filepath.Join(dir, name))
			}
		}
	}
	if len(files) < 100 {
		t.Fatalf("only %d files", len(files))
	}
	for _, path := range files {
		if out(path) {
			t.Errorf("%s is kept out of the build", path)
		}
	}
	for _, path := range []string{".git/config", "deploy/compose/keys/server.key", "testdata/plans/tanker-12.yaml", "cmd/hawser/path_test.go"} {
		if !out(path) {
			t.Errorf("%s is in the build", path)
		}
	}
}
