// Command bundle makes the scripts and style sheets of the pages out of their
// TypeScript and CSS: one of each for every entry in app/. It is run by
// go generate ./services/web; what it makes is committed, so that building hawser
// takes nothing but Go.
package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/evanw/esbuild/pkg/api"
)

func main() {
	if err := write("app", "built"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// write puts the bundles of an app into a folder that holds nothing else.
func write(app, built string) error {
	files, err := bundle(app)
	if err != nil {
		return err
	}
	if err := os.RemoveAll(built); err != nil {
		return err
	}
	if err := os.MkdirAll(built, 0o755); err != nil {
		return err
	}
	for name, data := range files {
		if err := os.WriteFile(filepath.Join(built, name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// bundle gives the bundles by file name. The same sources give the same bytes.
func bundle(app string) (map[string][]byte, error) {
	entries, err := filepath.Glob(filepath.Join(app, "*.ts"))
	if err != nil {
		return nil, err
	}
	result := api.Build(api.BuildOptions{
		EntryPoints: entries, Outdir: "built", Bundle: true, Write: false,
		Format: api.FormatIIFE, Target: api.ES2022,
		MinifyWhitespace: true, MinifySyntax: true, MinifyIdentifiers: true,
		Charset: api.CharsetUTF8, LegalComments: api.LegalCommentsInline, LogLevel: api.LogLevelSilent,
	})
	var errs []error
	for _, m := range append(result.Errors, result.Warnings...) {
		where := ""
		if m.Location != nil {
			where = fmt.Sprintf("%s:%d:%d: ", m.Location.File, m.Location.Line, m.Location.Column)
		}
		errs = append(errs, errors.New(where+m.Text))
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	files := map[string][]byte{}
	for _, f := range result.OutputFiles {
		files[filepath.Base(f.Path)] = f.Contents
	}
	for _, entry := range entries {
		style := strings.TrimSuffix(filepath.Base(entry), ".ts") + ".css"
		if files[style] == nil {
			return nil, fmt.Errorf("%s: it imports no style sheet", entry)
		}
	}
	return files, nil
}
