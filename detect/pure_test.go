package detect_test

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"

	"hawser/detect"
)

// Detection knows event time only: no clock, no I/O, nothing of ours but the
// mechanics and the vocabulary. Otherwise a replay would not repeat what the
// live service said.
func TestPure(t *testing.T) {
	paths, err := filepath.Glob("*.go")
	if err != nil || len(paths) == 0 {
		t.Fatalf("sources: %v, %v", paths, err)
	}
	ours := map[string]bool{"hawser/detect/chart": true, "hawser/detect/mooring": true, "hawser/detect/reading": true}
	barred := map[string]bool{"os": true, "io": true, "net": true, "log": true, "log/slog": true, "math/rand": true, "math/rand/v2": true}
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range file.Imports {
			name := strings.Trim(i.Path.Value, `"`)
			if barred[name] || strings.HasPrefix(name, "hawser/") && !ours[name] {
				t.Errorf("%s imports %s", path, name)
			}
		}
		ast.Inspect(file, func(n ast.Node) bool {
			s, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			pkg, ok := s.X.(*ast.Ident)
			if ok && pkg.Name == "time" && s.Sel.Name != "Unix" && s.Sel.Name != "Time" {
				t.Errorf("%s uses time.%s", path, s.Sel.Name)
			}
			return true
		})
	}
}

// Whatever bytes are offered, Restore gives a berth that works or an error
// that is ErrSnapshot.
func FuzzRestore(f *testing.F) {
	f.Add([]byte(nil))
	plan := ship(2)
	b, s := detect.New(plan), newSteady(plan, 5)
	for range 5 {
		s.next(b, nil)
	}
	good, err := b.Snapshot()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Fuzz(func(t *testing.T, p []byte) {
		b, err := detect.Restore(plan, p)
		if err != nil {
			if !errors.Is(err, detect.ErrSnapshot) {
				t.Fatalf("error %v is not ErrSnapshot", err)
			}
			return
		}
		b.Advance("a", start+100*second, nil)
	})
}
