package main

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/doc"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// allowed is which packages of ours each package may import, with the reason.
// Imports go down only: cmd, services, ingest, then detect and proto, which
// stand on nothing of ours but each other's lower parts.
var allowed = map[string]struct {
	imports []string
	why     string
}{
	"proto/hawser/v1":        {nil, "generated code stands alone"},
	"detect/reading":         {nil, "the vocabulary everything shares"},
	"detect/mooring":         {nil, "mechanics that can be lifted out whole"},
	"detect/mooring/quality": {[]string{"detect/mooring"}, "remarks on a plan; its rules want the mechanics and nothing else"},
	"detect/tide":            {[]string{"detect/mooring"}, "the water level by the plan's tide; knows no ship and no line"},
	"detect/assess":          {[]string{"detect/mooring", "detect/tide"}, "answers that are equilibria, for whoever asks: no reading, no wire form"},
	"detect/chart":           {nil, "statistics that know nothing of moorings"},
	"detect/spectrum":        {nil, "periods in even values, whatever they are of"},
	"detect/fatigue":         {nil, "counts cycles of any load; knows no line"},
	"detect": {[]string{"detect/chart", "detect/mooring", "detect/reading"},
		"a pure function of plan and readings: no wire form, no disk, no clock"},

	"ingest/batch":           {[]string{"detect/reading", "proto/hawser/v1"}, "the only code that knows the bytes of a batch"},
	"ingest/planfile":        {[]string{"detect/mooring", "proto/hawser/v1"}, "the schema is the plan file's form"},
	"ingest/planbook":        {[]string{"detect/mooring", "ingest/planfile", "proto/hawser/v1"}, "keeps plans as the messages they are"},
	"ingest/recording":       {[]string{"detect/reading"}, "files into readings, whoever wants them"},
	"ingest/journal":         {[]string{"ingest/folder"}, "bytes and subjects, no meaning; its folders' names on disk"},
	"ingest/standby":         {[]string{"ingest/journal"}, "a journal that goes on in memory; no meaning either"},
	"ingest/folder":          {nil, "in which form a data folder is, whatever is in it"},
	"ingest/store":           {[]string{"detect/reading", "ingest/folder"}, "series in and out, whatever they are of; names on disk"},
	"ingest/store/storetest": {[]string{"detect/reading", "ingest/simulate", "ingest/store"}, "what stores are tested with; no part of the program"},
	"ingest/intake": {[]string{"detect/mooring", "detect/reading", "ingest/batch", "ingest/journal", "ingest/planbook", "ingest/planfile", "proto/hawser/v1"},
		"binds batches to the plan and journals them; knows no detector"},
	"ingest/edge":              {[]string{"detect/reading", "ingest/batch", "proto/hawser/v1"}, "the sending side: blocks to a stream"},
	"ingest/simulate/recorded": {[]string{"detect/mooring", "ingest/recording", "ingest/simulate"}, "stories as the files that commands read, for their tests"},
	"ingest/simulate":          {[]string{"detect/mooring", "detect/reading"}, "shares our mechanics, so never a source of expected values"},

	"ingest/simulate/archive": {[]string{"detect/mooring", "detect/reading", "detect/tide", "ingest/planfile", "ingest/recording", "proto/hawser/v1"},
		"a month of a port, as the files that commands read"},

	"services/parameter": {nil, "what requests hold, whatever they ask for"},
	"services/waittest":  {nil, "what tests wait for and read; no part of the program"},
	"services/watch": {[]string{"detect", "detect/mooring", "detect/reading", "ingest/batch", "ingest/planbook"},
		"the one road to the detectors, live and in replay alike"},
	"services/alarm":        {[]string{"detect", "detect/mooring", "proto/hawser/v1"}, "keeps the changes that detection makes, of a line or a group"},
	"services/rounds":       {[]string{"detect", "services/alarm"}, "what it finds goes to the alarm log, with a priority"},
	"services/live":         {[]string{"detect", "detect/mooring", "detect/reading", "proto/hawser/v1"}, "the latest picture by the plan, as its message"},
	"services/web/bundle":   {nil, "makes the pages' scripts, when they are changed; no part of the program"},
	"services/web":          {[]string{"services/alarm", "services/live", "services/performance", "detect", "proto/hawser/v1"}, "pages over what the other services know"},
	"services/drawing/plot": {nil, "values over time on any canvas; knows no mooring"},
	"services/caution":      {nil, "words that go with figures and alarms"},
	"services/evidence": {[]string{"detect", "detect/mooring", "detect/reading", "services/caution", "services/drawing/plot"},
		"looks on at detection and writes down what it saw"},
	"services/performance": {[]string{"services/alarm", "detect"}, "measures the alarms; knows no reading"},
	"services/deliver":     {[]string{"services/alarm", "services/caution", "detect"}, "alarms out of the house; knows no reading"},
	"services/drawing":     {[]string{"detect/assess", "detect/mooring", "services/caution", "services/drawing/plot"}, "pictures of answers; reckons nothing"},
	"services/access":      {[]string{"proto/hawser/v1"}, "who may call what; knows the schema, no service"},
	"services/front":       {nil, "listeners; knows handlers, no service"},
	"services/backup":      {nil, "the form of an archive; what its parts are is cmd's to know"},
	"services/linebook": {[]string{"detect", "detect/fatigue", "detect/mooring", "detect/reading", "ingest/batch", "ingest/planbook", "proto/hawser/v1", "services/parameter"},
		"folds journal and alarms into records of lines; hears of alarms by its own interface"},
	"services/report": {[]string{"detect", "detect/fatigue", "detect/mooring", "detect/reading", "ingest/recording", "ingest/store", "services/alarm", "services/caution", "services/drawing/plot", "services/linebook", "services/parameter", "services/stay"},
		"writes down a stay: readings from a store or a recording, alarms from their log, cycles counted as the line book does"},
	"services/stay": {[]string{"detect/mooring", "detect/reading", "ingest/batch", "ingest/planbook"}, "follows the journal; learns the ships' names from their plans"},
	"services/reckon": {[]string{"detect", "detect/assess", "detect/mooring", "detect/reading", "detect/tide", "ingest/planfile", "proto/hawser/v1", "services/alarm", "services/live", "services/parameter"},
		"asks the core about the loads as they are, for people and the alarm log"},
	"services/plans": {[]string{"detect/mooring", "detect/mooring/quality", "detect/tide", "ingest/planbook", "ingest/planfile", "proto/hawser/v1", "services/parameter"},
		"plans for people to look at and to change; reckons no load"},
	"dashboards": {[]string{"services/caution"}, "boards for a viewer; no part of the program"},
	"services/history": {[]string{"detect/reading", "detect/spectrum", "ingest/batch", "ingest/store", "proto/hawser/v1", "services/parameter"},
		"carries the journal to the store and asks the store"},
}

// onlyHome says which foreign library may be imported where: one home each.
var onlyHome = map[string][]string{
	"github.com/nats-io/":                {"ingest/journal"},
	"github.com/prometheus/prometheus/":  {"ingest/store"},
	"github.com/influxdata/":             {"ingest/store"},
	"go.etcd.io/bbolt":                   {"ingest/store"},
	"gonum.org/":                         {"detect"},
	"github.com/gofrs/flock":             {"ingest/folder", "ingest/journal"},
	"github.com/grafana/":                {"dashboards"},
	"github.com/apache/":                 {"services/history/export"},
	"github.com/parquet-go/":             {"services/history/export"},
	"github.com/spf13/":                  {"cmd/hawser"},
	"go.yaml.in/":                        {"ingest/planfile", "services/access", "cmd/hawser"},
	"github.com/evanw/esbuild/":          {"services/web/bundle"},
	"github.com/coreos/go-oidc/":         {"services/access"},
	"golang.org/x/time/":                 {"services/access", "ingest/intake"},
	"codeberg.org/go-pdf/":               {"services/report"},
	"net/http":                           {"services/access", "services/front", "services/web", "services/live", "services/history", "services/linebook", "services/report", "services/plans", "services/stay", "services/parameter", "services/reckon", "services/deliver", "ingest/store", "cmd/hawser"},
	"google.golang.org/grpc/reflection":  {"services/front"},
	"google.golang.org/grpc/credentials": {"ingest/edge", "cmd/hawser", "services/front", "services/access"},
}

// pureNever is what the pure core may not import, even from the standard library.
var pureNever = []string{"os", "net", "net/http", "io/fs", "syscall", "math/rand", "math/rand/v2", "context", "log", "log/slog"}

type listed struct {
	ImportPath string
	Name       string
	Dir        string
	Imports    []string
	GoFiles    []string
}

func packages(t *testing.T) []listed {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "go", "list", "-json=ImportPath,Name,Dir,Imports,GoFiles", "hawser/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// home is the row of a table that a package falls under: itself or a parent.
func home[V any](table map[string]V, pkg string) (string, bool) {
	for p := pkg; p != "." && p != "/"; p = filepath.Dir(p) {
		if _, ok := table[p]; ok {
			return p, true
		}
	}
	return "", false
}

func TestImportsGoDownOnly(t *testing.T) {
	seen := map[string]bool{}
	for _, p := range packages(t) {
		if len(p.GoFiles) == 0 {
			continue // tests only: they may look at anything
		}
		pkg := strings.TrimPrefix(p.ImportPath, "hawser/")
		row, ok := home(allowed, pkg)
		if ok {
			seen[row] = true
		}
		if !ok && pkg != "cmd/hawser" && !strings.HasPrefix(pkg, "testdata/") {
			t.Errorf("%s is in no row of the table: give it one, with a reason", pkg)
			continue
		}
		for _, imp := range p.Imports {
			ours, isOurs := strings.CutPrefix(imp, "hawser/")
			switch {
			case isOurs && pkg == "cmd/hawser":
				// wires all
			case isOurs && strings.HasPrefix(ours, row+"/") || ours == row:
				// a package's own parts
			case isOurs && !slices.Contains(allowed[row].imports, ours):
				t.Errorf("%s imports %s; it may import %v (%s)", pkg, ours, allowed[row].imports, allowed[row].why)
			}
			for prefix, homes := range onlyHome {
				if (imp == prefix || strings.HasSuffix(prefix, "/") && strings.HasPrefix(imp, prefix)) &&
					!slices.ContainsFunc(homes, func(h string) bool { return pkg == h || strings.HasPrefix(pkg, h+"/") }) {
					t.Errorf("%s imports %s, whose home is %v", pkg, imp, homes)
				}
			}
			if (pkg == "detect" || strings.HasPrefix(pkg, "detect/")) && slices.Contains(pureNever, imp) {
				t.Errorf("%s imports %s, but the core is pure", pkg, imp)
			}
		}
	}
	for row := range allowed {
		if !seen[row] {
			t.Errorf("the table has a row for %s, which does not exist", row)
		}
	}
}

func TestEveryPackageSaysItsJob(t *testing.T) {
	for _, p := range packages(t) {
		if strings.Contains(p.ImportPath, "/proto/") || len(p.GoFiles) == 0 {
			continue
		}
		fset := token.NewFileSet()
		said := false
		for _, f := range p.GoFiles {
			file, err := parser.ParseFile(fset, filepath.Join(p.Dir, f), nil, parser.PackageClauseOnly|parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			if file.Doc != nil && len(new(doc.Package).Synopsis(file.Doc.Text())) > 20 {
				said = true
			}
		}
		if !said {
			t.Errorf("%s has no package comment", p.ImportPath)
		}
	}
}

// The core knows event time only: reading the wall clock in it would make a
// replay differ from the live run.
func TestCoreReadsNoClock(t *testing.T) {
	clocks := []string{"Now", "Since", "Until", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Sleep"}
	for _, p := range packages(t) {
		if p.ImportPath != "hawser/detect" && !strings.HasPrefix(p.ImportPath, "hawser/detect/") {
			continue
		}
		fset := token.NewFileSet()
		for _, f := range p.GoFiles {
			file, err := parser.ParseFile(fset, filepath.Join(p.Dir, f), nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				call, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				if pkg, ok := call.X.(*ast.Ident); ok && pkg.Name == "time" && slices.Contains(clocks, call.Sel.Name) {
					t.Errorf("%s: the wall clock is read in the core: time.%s", fset.Position(call.Pos()), call.Sel.Name)
				}
				return true
			})
		}
	}
}
