package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
)

// By the W3C's Web Application Manifest: name, start_url within scope, icons that
// there are; and by Service Workers, section 6: a worker may work above its own
// folder only where Service-Worker-Allowed says so.
func TestDeckCanBeKept(t *testing.T) {
	s := newStation(t, nil)
	s.board.SetPlan("east-3", plan("east-3"))
	resp, page := s.get("/deck?berth=east-3")
	if resp.StatusCode != http.StatusOK || !strings.Contains(page, `<link rel="manifest" href="/manifest?berth=east-3&amp;page=deck"`) {
		t.Fatalf("%d, the page names no manifest", resp.StatusCode)
	}
	for _, want := range []string{"worker-src 'self'", "manifest-src 'self'", "trusted-types worker"} {
		if !strings.Contains(resp.Header.Get("Content-Security-Policy"), want) {
			t.Errorf("policy lacks %q", want)
		}
	}
	if resp, _ := s.get("/"); strings.Contains(resp.Header.Get("Content-Security-Policy"), "worker") {
		t.Error("a page that is not kept may bring a worker")
	}

	resp, body := s.get("/manifest?page=deck&berth=east-3&lang=de")
	var m struct {
		Name, Display, Scope string
		StartURL             string `json:"start_url"`
		Icons                []struct{ Src string }
	}
	must(t, json.Unmarshal([]byte(body), &m))
	if resp.Header.Get("Content-Type") != "application/manifest+json" || m.Name != "Hawser · Deck · east-3" || m.Display != "standalone" ||
		m.StartURL != "/deck?berth=east-3" || !strings.HasPrefix(m.StartURL, m.Scope) || len(m.Icons) != 3 {
		t.Errorf("manifest: %s", body)
	}
	for _, icon := range m.Icons {
		if resp, _ := s.get(icon.Src); resp.StatusCode != http.StatusOK || !strings.HasPrefix(resp.Header.Get("Content-Type"), "image/") {
			t.Errorf("%s: %d %s", icon.Src, resp.StatusCode, resp.Header.Get("Content-Type"))
		}
	}
	if resp, _ := s.get("/manifest?page=terminal"); resp.StatusCode != http.StatusNotFound {
		t.Errorf("manifest of a page that is not kept: %d", resp.StatusCode)
	}
	if resp, _ := s.get("/assets/deck-worker.js"); resp.Header.Get("Service-Worker-Allowed") != "/deck" || !strings.HasPrefix(resp.Header.Get("Content-Type"), "text/javascript") {
		t.Errorf("worker: %v", resp.Header)
	}
}
