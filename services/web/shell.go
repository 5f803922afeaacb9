package web

import (
	"bytes"
	"context"
	"encoding/json"
	"html/template"
	"net/http"
	"net/url"
	"time"

	"hawser/services/alarm"
)

// shell is what every page has around its own part.
type shell struct {
	Name  string // of the page
	Title string
	Lang  string
	Theme string // light, dark, or "" for the device's
	Links []pageLink
	Who   string // has signed in, "" where nobody does

	Style  template.CSS
	Script template.JS
	Setup  setup

	Manifest string // of a page that the device can keep, its address

	Page any // the page's own
}

type pageLink struct {
	Name, Path string
	Here       bool
}

// setup is what a page's script begins with.
type setup struct {
	Lang   string                       `json:"lang"`
	Langs  []string                     `json:"langs"`
	Words  map[string]map[string]string `json:"words"`
	Berth  string                       `json:"berth,omitempty"` // the page is of it
	Pages  map[string]string            `json:"pages"`           // paths by name
	Side   string                       `json:"side,omitempty"`  // the caller's, where one signs in
	Who    string                       `json:"who,omitempty"`
	Build  string                       `json:"build"`
	Mark   string                       `json:"mark,omitempty"` // of Whole
	Whole  *pictureWire                 `json:"whole,omitempty"`
	Shelf  int64                        `json:"shelf"` // longest time on a shelf, ms
	Signed bool                         `json:"signed"`
	// May are the calls of the page's own controls that the caller may make, by their
	// patterns; what may be done about an alarm stands beside it.
	May []string `json:"may,omitempty"`
}

// shellOf makes the shell of a page of a name, with its bundle, or that of plain
// pages where it has none.
func (s *Site) shellOf(r *http.Request, name string) *shell { return s.shellFor(r, name, berthOf(r)) }

// shellFor is shellOf for a page of a berth, or of none for "". It links to what
// the caller may open.
func (s *Site) shellFor(r *http.Request, name, berth string) *shell {
	lang := s.language(r)
	v := &shell{Name: name, Lang: lang, Who: s.who(r.Context())}
	if c, err := r.Cookie("theme"); err == nil && (c.Value == "light" || c.Value == "dark") {
		v.Theme = c.Value
	}
	b := s.bundleOf(name)
	v.Style, v.Script = b.style, b.script
	v.Setup = setup{Lang: lang, Langs: s.languages, Words: map[string]map[string]string{}, Pages: map[string]string{},
		Side: s.side(r.Context()), Who: v.Who, Shelf: shelfMost.Milliseconds(), Signed: s.o.Access != nil, Build: s.build}
	sections := append(sharedWords(), name)
	v.Setup.Berth = berth
	link := func(to, pattern, path, of string) {
		if s.mayCall(r.Context(), pattern, of) {
			v.Links = append(v.Links, pageLink{to, path, to == name})
		}
	}
	for _, p := range livePages() {
		v.Setup.Pages[p.name] = p.path
		if p.name == name {
			sections = append(sections, p.words...)
			for _, call := range p.calls {
				if s.mayCall(r.Context(), call, berth) {
					v.Setup.May = append(v.Setup.May, call)
				}
			}
		}
		switch {
		case p.kept && berth != "":
			link(p.name, p.pattern, p.path+"?berth="+url.QueryEscape(berth), berth)
		case !p.ofBerth:
			link(p.name, p.pattern, p.path, "")
		case berth != "":
			link(p.name, p.pattern, p.path+berth, berth)
		}
	}
	link("log", "GET /log", "/log", "")
	if s.o.Lines != nil {
		link("lines", "GET /lines", "/lines", "")
	}
	if s.o.Performance != nil {
		link("performance", "GET /performance", "/performance", "")
	}
	for _, section := range sections {
		if words := s.words[lang].text[section]; words != nil {
			v.Setup.Words[section] = words
		}
	}
	return v
}

func (s *Site) bundleOf(name string) *bundle {
	if b := s.bundles[name]; b != nil {
		return b
	}
	return s.bundles["plain"]
}

// open answers with a page over the live picture: all figures are in it, so that it
// shows them before anything else is fetched.
func (s *Site) open(p page) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v := s.shellOf(r, p.name)
		v.Title = s.words[v.Lang].say("shell.page." + p.name)
		if p.ofBerth {
			v.Title = v.Setup.Berth + " – " + v.Title
		}
		whole, has, _ := s.picture(r.Context(), v.Setup.Berth, mark{}, false)
		if v.Setup.Berth != "" && len(whole.Names) == 0 && !p.fresh {
			s.notice(w, r, http.StatusNotFound, "no-berth", "berth", v.Setup.Berth)
			return
		}
		v.Setup.Whole, v.Setup.Mark = &whole, has.String()
		if p.kept {
			v.Manifest = manifestOf(p, v.Setup.Berth)
		}
		s.draw(w, http.StatusOK, "live", v)
	})
}

// unheardOf reports whether there is no such berth here and never an alarm of it: that
// nothing is told of it is then no news of a ship.
func (s *Site) unheardOf(ctx context.Context, berth string) bool {
	if berth == "" {
		return false
	}
	if whole, _, _ := s.picture(ctx, berth, mark{}, false); len(whole.Names) > 0 {
		return false
	}
	alarms, _ := s.o.Alarms.List(berth, true)
	return len(alarm.Seen(ctx, s.o.Access, alarms)) == 0
}

// berthOf is the berth that a page is asked for, "" for none.
func berthOf(r *http.Request) string {
	if berth := r.PathValue("berth"); berth != "" {
		return berth
	}
	return r.URL.Query().Get("berth")
}

// draw answers with a template, or with an error and nothing of it.
func (s *Site) draw(w http.ResponseWriter, status int, name string, v *shell) {
	var b bytes.Buffer
	if err := s.templates[v.Lang].ExecuteTemplate(&b, name, v); err != nil {
		s.o.Log.Error("page not drawn", "page", name, "err", err)
		http.Error(w, "the page could not be drawn", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Security-Policy", s.bundleOf(v.Name).policy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Language", v.Lang)
	w.Header().Set("Vary", "Accept-Language, Cookie")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the reader may be gone
}

// notice answers with one sentence, by its name in the words, and a way back.
func (s *Site) notice(w http.ResponseWriter, r *http.Request, status int, name string, with ...any) {
	v := s.shellOf(r, "notice")
	say := s.words[v.Lang].say
	v.Title, v.Page = say("notice."+name+".title"), say("notice."+name, with...)
	s.draw(w, status, "notice", v)
}

// functions are what templates of a language may call.
func (w *words) functions() template.FuncMap {
	return template.FuncMap{
		"say": w.say, "place": w.place, "condition": w.condition,
		"json": func(v any) (template.JS, error) {
			data, err := json.Marshal(v)
			return template.JS(data), err
		},
	}
}

// moment is a point in time for a <time> element. The script shows it in the
// viewer's zone.
type moment struct {
	Machine string // RFC 3339
	Text    string // UTC
}

func stamp(t time.Time) moment {
	t = t.UTC()
	return moment{Machine: t.Format(time.RFC3339Nano), Text: t.Format("2006-01-02 15:04:05") + " UTC"}
}

// who is the caller's name, "" where nobody signs in.
func (s *Site) who(ctx context.Context) string {
	if s.o.Access == nil {
		return ""
	}
	return s.o.Access.Who(ctx)
}
