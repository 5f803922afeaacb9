package web_test

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"hawser/detect"
	"hawser/services/web"
)

// spoken reads the words of a language.
func spoken(t *testing.T, tag string) map[string]map[string]string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("words", tag+".json"))
	must(t, err)
	var w map[string]map[string]string
	must(t, json.Unmarshal(data, &w))
	return w
}

var places = regexp.MustCompile(`\{\w+\}`)

// Every language says everything, with the same values in it.
func TestLanguagesSayTheSame(t *testing.T) {
	home := spoken(t, "en-GB")
	files, err := filepath.Glob("words/*.json")
	must(t, err)
	if len(files) < 2 {
		t.Fatal("there is no second language")
	}
	for _, f := range files {
		tag := strings.TrimSuffix(filepath.Base(f), ".json")
		other := spoken(t, tag)
		for section, texts := range home {
			for key, text := range texts {
				got, ok := other[section][key]
				a, b := places.FindAllString(text, -1), places.FindAllString(got, -1)
				slices.Sort(a)
				slices.Sort(b)
				if !ok || got == "" || !slices.Equal(a, b) {
					t.Errorf("%s: %s.%s is %q, want what says %q", tag, section, key, got, text)
				}
			}
			for key := range other[section] {
				if _, ok := texts[key]; !ok {
					t.Errorf("%s: %s.%s is in no other language", tag, section, key)
				}
			}
		}
		if len(other) != len(home) {
			t.Errorf("%s: %d sections, want %d", tag, len(other), len(home))
		}
	}
}

// There are words for all that the detectors and the alarm log can say.
func TestWordsForEveryConditionAndState(t *testing.T) {
	home := spoken(t, "en-GB")
	var keys []string
	for _, c := range detect.Conditions() {
		keys = append(keys, "condition."+c.String(), "do."+c.String())
	}
	for p := detect.Emergency; p <= detect.Caution; p++ {
		keys = append(keys, "priority."+p.String())
	}
	for _, key := range keys {
		if home["alarm"][key] == "" {
			t.Errorf("no words for alarm.%s", key)
		}
	}
}

// used are the keys that a source names in full.
var used = regexp.MustCompile(`\b(?:say|has|count)\(?\s*"([a-z]+)\.([a-zA-Z0-9.-]+)"`)

// What people read is in the words: a template has no text of its own, a script no
// sentence, and what they ask for by name is there.
func TestNoWordsElsewhere(t *testing.T) {
	home := spoken(t, "en-GB")
	templates, err := filepath.Glob("pages/*.html")
	must(t, err)
	scripts, err := filepath.Glob("app/*.ts")
	must(t, err)
	parts, err := filepath.Glob("app/*/*.ts") // lib among them
	must(t, err)
	word := regexp.MustCompile(`\pL{2,}`)
	for _, f := range templates {
		data, err := os.ReadFile(f)
		must(t, err)
		bare := regexp.MustCompile(`(?s)\{\{.*?\}\}`).ReplaceAllString(string(data), "")
		for _, attribute := range []string{"aria-label", "title", "alt", "placeholder"} {
			if found := regexp.MustCompile(attribute + `="[^"]*\pL`).FindString(bare); found != "" {
				t.Errorf("%s: %s", f, found)
			}
		}
		read := regexp.MustCompile(`(?s)<!doctype[^>]*>|<[^>]*>`).ReplaceAllString(bare, " ")
		for _, w := range word.FindAllString(read, -1) {
			if w != "Hawser" { // a name
				t.Errorf("%s says %q by itself", f, w)
			}
		}
		keysAreThere(t, home, f, string(data))
	}
	// A sentence, or a word with a capital, in quotes.
	prose := regexp.MustCompile("[\"'`][^\"'`\n]*?(?:\\pL{2,} \\pL{2,} \\pL{2,}|\\b\\p{Lu}\\p{Ll}+ \\pL)[^\"'`\n]*[\"'`]")
	for _, f := range slices.Concat(scripts, parts) {
		data, err := os.ReadFile(f)
		must(t, err)
		for _, line := range strings.Split(string(data), "\n") {
			code := regexp.MustCompile(`(^|\s)//.*`).ReplaceAllString(line, "")
			if strings.Contains(code, "new Error(") || strings.Contains(code, "import ") { // for who debugs
				continue
			}
			if found := prose.FindString(code); found != "" {
				t.Errorf("%s says %s by itself", f, found)
			}
		}
		keysAreThere(t, home, f, string(data))
	}
}

func keysAreThere(t *testing.T, home map[string]map[string]string, file, source string) {
	t.Helper()
	for _, m := range used.FindAllStringSubmatch(source, -1) {
		texts := home[m[1]]
		if texts[m[2]] == "" && texts[m[2]+".one"] == "" && !strings.HasSuffix(m[2], ".") {
			t.Errorf("%s asks for %s.%s", file, m[1], m[2])
		}
	}
}

// The language is that of ?lang=, of the cookie, of the browser, in this order
// (RFC 9110, 12.5.4 for the last).
func TestLanguageIsChosen(t *testing.T) {
	s := newStation(t, nil)
	for name, row := range map[string]struct{ path, cookie, accept, want string }{
		"nothing":               {"/", "", "", "en-GB"},
		"browser":               {"/", "", "de", "de"},
		"browser, region":       {"/", "", "de-AT;q=0.9, en;q=0.5", "de"},
		"browser, by weight":    {"/", "", "de;q=0.3, en-US;q=0.8", "en-GB"},
		"browser, unspoken":     {"/", "", "nl, fr;q=0.9, de;q=0.1", "de"},
		"browser, not wanted":   {"/", "", "de;q=0", "en-GB"},
		"browser, senseless":    {"/", "", ";;q=x,,=", "en-GB"},
		"cookie before browser": {"/", "en-GB", "de", "en-GB"},
		"query before cookie":   {"/?lang=de", "en-GB", "en", "de"},
		"query, unspoken":       {"/?lang=xx", "de", "en", "de"},
	} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.server.URL+row.path, nil)
		must(t, err)
		if row.cookie != "" {
			req.AddCookie(&http.Cookie{Name: "lang", Value: row.cookie})
		}
		if row.accept != "" {
			req.Header.Set("Accept-Language", row.accept)
		}
		resp, page := s.do(req)
		if resp.Header.Get("Content-Language") != row.want || !strings.Contains(page, `<html lang="`+row.want+`"`) || setupOf(t, page).Lang != row.want {
			t.Errorf("%s: %s, want %s", name, resp.Header.Get("Content-Language"), row.want)
		}
	}
}

func TestThemeIsKept(t *testing.T) {
	s := newStation(t, func(o *web.Options, _ *http.Server) {})
	for cookie, want := range map[string]string{"dark": `data-theme="dark"`, "light": `data-theme="light"`, `"><b>`: `<html lang="en-GB">`} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.server.URL+"/", nil)
		must(t, err)
		req.Header.Set("Cookie", "theme="+cookie)
		if _, page := s.do(req); !strings.Contains(page, want) {
			t.Errorf("theme %s: the page lacks %s", cookie, want)
		}
	}
}
