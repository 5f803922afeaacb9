package web

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
)

// deckWorker keeps the deck page on the device. It lies in /assets and works for
// /deck, which it has to be allowed to.
const deckWorker = "assets/deck-worker.js"

// manifestOf is the address of a page's manifest.
func manifestOf(p page, berth string) string {
	return "/manifest?" + url.Values{"page": {p.name}, "berth": {berth}}.Encode()
}

// manifest answers with the web application manifest (W3C) of a page that the
// device keeps, so that it can be put among the device's own programs.
func (s *Site) manifest(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	i := slices.IndexFunc(livePages(), func(p page) bool { return p.kept && p.name == query.Get("page") })
	if i < 0 {
		http.Error(w, "no page of this name can be kept", http.StatusNotFound)
		return
	}
	p, lang := livePages()[i], s.language(r)
	start, name := p.path, "Hawser · "+s.words[lang].say("shell.page."+p.name)
	if berth := query.Get("berth"); berth != "" {
		start, name = p.path+"?berth="+url.QueryEscape(berth), name+" · "+berth
	}
	type icon struct {
		Source string `json:"src"`
		Sizes  string `json:"sizes"`
		Type   string `json:"type"`
	}
	data, err := json.Marshal(map[string]any{
		"id": start, "name": name, "short_name": name, "lang": lang, "start_url": start, "scope": p.path,
		"display": "standalone", "background_color": "#ffffff", "theme_color": "#000000",
		"icons": []icon{
			{"/assets/icon.svg", "any", "image/svg+xml"},
			{"/assets/icon-192.png", "192x192", "image/png"},
			{"/assets/icon-512.png", "512x512", "image/png"},
		},
	})
	if err != nil {
		s.o.Log.Error("manifest not encoded", "err", err)
		http.Error(w, "the manifest could not be encoded", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	_, _ = w.Write(data) // the reader may be gone
}
