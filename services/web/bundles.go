package web

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"maps"
	"slices"
	"strings"
)

// built is what services/web/bundle makes of app/: a script and a style sheet for
// each of its entries.
//
//go:generate go run ./bundle
//go:embed built
var built embed.FS

// bundle is a page's style and script, which go out within the page: on a slow
// link a second request would cost more than all of it.
type bundle struct {
	style  template.CSS
	script template.JS
	policy string // content security policy that lets in just these
}

func readBundles() (map[string]*bundle, error) {
	scripts, err := fs.Glob(built, "built/*.js")
	if err != nil {
		return nil, err
	}
	all := map[string]*bundle{}
	for _, name := range scripts {
		name = strings.TrimSuffix(strings.TrimPrefix(name, "built/"), ".js")
		script, err := built.ReadFile("built/" + name + ".js")
		if err != nil {
			return nil, err
		}
		style, err := built.ReadFile("built/" + name + ".css")
		if err != nil {
			return nil, err
		}
		all[name] = &bundle{style: template.CSS(style), script: template.JS(script), policy: policy(name, script, style)}
	}
	return all, nil
}

// buildOf names what all bundles are made of: a page whose server has others is
// read anew.
func buildOf(bundles map[string]*bundle) string {
	sum := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(bundles)) {
		sum.Write([]byte(bundles[name].policy)) // has the digests
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// policy lets a page use its own style and script, what this server serves, and
// nothing else: nothing from elsewhere, no text made into markup, no frame around
// it. A page that the device keeps may also bring its worker.
func policy(name string, script, style []byte) string {
	types, kept := "'none'", ""
	if slices.ContainsFunc(livePages(), func(p page) bool { return p.name == name && p.kept }) {
		types, kept = "worker", "worker-src 'self'; manifest-src 'self'; "
	}
	return fmt.Sprintf("default-src 'none'; script-src %s; style-src %s; img-src 'self'; connect-src 'self'; form-action 'self'; %s"+
		"base-uri 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types %s", digest(script), digest(style), kept, types)
}

// digest is the source expression of a script or style (Content Security Policy
// Level 3, section 2.3.1).
func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
