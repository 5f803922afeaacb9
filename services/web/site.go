// Package web is the screens: berths, lines and loads, alarms and who takes them
// on. It never judges a load and never says that a place is safe. Its invariant:
// everything it serves is in the program, and nothing it shows as live is old.
//
//	GET  /             the terminal: all berths; other pages are in pages.go
//	GET  /live         the live picture, as server-sent events; ?berth= for one
//	POST /acknowledge  a person takes an alarm on
//	POST /note         a person writes something to an alarm
//	POST /reset      a person says that a line told as parted holds again
//	POST /shelve, /out-of-service, /end-hold   a person keeps alarms quiet, or no longer
//	GET  /log          what has happened, for who takes the watch over; ?period=8h&berth=
//	GET  /lines        what each line has been through; ?berth=&ship=&retired=true
//	GET  /performance  how the alarms themselves do; ?period=24h&berth=
//	GET  /api/berths   the picture as JSON: hawser.v1.ListBerthsResponse
//	GET  /api/alarms   those of a berth that were active in a time; ?berth=&from=&to=
//	GET  /manifest     of a page that a device can keep; ?page=deck&berth=
//	GET  /assets/…     icons, the deck page's worker
//	GET  /sign-in      where people sign in: a form for a token
//	POST /sign-in      begins a session
//	POST /sign-out     ends it
//
// A page is one answer: its style, its script, its words and the picture as it is
// are all in it. From then on the script follows /live.
//
//	board, alarm log, losses ─► ledger: parts with versions ─► picture: what a page lacks
//	app/*.ts ─► bundle/ ─► built/ ─► in each page, let in by its digest
//	words/*.json ─► templates and scripts
package web

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"html/template"
	"io/fs"
	"log/slog"
	"maps"
	"net/http"
	"slices"
	"time"

	"github.com/klauspost/compress/gzhttp"
	"github.com/klauspost/compress/gzip"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
)

//go:embed assets
var assets embed.FS

//go:embed pages/*.html
var pages embed.FS

// Alarms is the alarm log.
type Alarms interface {
	List(berth string, cleared bool) (alarms []alarm.State, position uint64)
	// Position is that of the log's end.
	Position() uint64
	// Watch hands over each record after a position until ctx ends or fn fails.
	Watch(ctx context.Context, berth string, after uint64, fn func(*alarm.Record) error) error
	// Past gives those of a berth that were active at some time between two.
	Past(ctx context.Context, berth string, from, to time.Time) ([]alarm.State, error)
	Holds(berth string) []alarm.Hold
	Acknowledge(ctx context.Context, id string, p alarm.Person, note string) (alarm.State, error)
	Shelve(ctx context.Context, id string, p alarm.Person, reason string, period time.Duration) (alarm.State, error)
	WriteNote(ctx context.Context, id string, p alarm.Person, text string) (alarm.State, error)
	Reset(ctx context.Context, id string, p alarm.Person, reason string) (alarm.State, error)
	TakeOutOfService(ctx context.Context, s alarm.Subject, p alarm.Person, reason string) (alarm.Hold, error)
	EndHold(ctx context.Context, s alarm.Subject, p alarm.Person, note string) error
}

// Board is the latest picture.
type Board interface {
	Pictures(berth string) []*hawserv1.BerthPicture
	// Watch hands over the picture at once, when it changed, at most once an
	// interval, and at least every few seconds, until ctx ends or fn fails.
	Watch(ctx context.Context, berth string, interval time.Duration, fn func([]*hawserv1.BerthPicture) error) error
}

// Losses says what the loss of each line would do.
type Losses interface {
	// Losses gives those of one berth, or of all for "", as last reckoned.
	Losses(berth string) []*hawserv1.BerthLosses
}

// Options are what a Site needs. Alarms, Board and Log are required.
type Options struct {
	Alarms Alarms
	Board  Board
	Log    *slog.Logger
	// Losses is nil where nobody reckons them.
	Losses Losses
	// Access is who has signed in and what they may see; nil where nobody signs in
	// and everybody may see everything.
	Access Access
	// Performance measures the alarms for the page /performance; nil for no such page.
	Performance Performance
	// Lines has the service records for the page /lines; nil for no such page.
	Lines Lines
	// Ships names those that there are records of, for who may see all of them to choose
	// from; nil for none.
	Ships func() []string
	// Viewers is how many pages are kept up to date at a time; one more is told to
	// come again. 0 means 256.
	Viewers int
	// Interval is the least time between two updates of a page; 0 means 500 ms.
	Interval time.Duration
	// Now is the clock shown; nil means the system's.
	Now func() time.Time
}

func (o *Options) validate() error {
	if o.Alarms == nil || o.Board == nil || o.Log == nil {
		return errors.New("web: Alarms, Board and Log are required")
	}
	if o.Viewers == 0 {
		o.Viewers = 256
	}
	if o.Interval == 0 {
		o.Interval = 500 * time.Millisecond
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return nil
}

// Site is the pages' handler. Safe for concurrent use.
type Site struct {
	o         Options
	mux       *http.ServeMux
	patterns  []string
	deeds     []deed
	words     map[string]*words             // by language
	languages []string                      // sorted
	templates map[string]*template.Template // by language
	bundles   map[string]*bundle            // by page
	build     string                        // of all bundles
	ledger    *ledger
	viewers   chan struct{} // a place for each
}

// New makes the site.
func New(o Options) (*Site, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	s := &Site{o: o, mux: http.NewServeMux(), ledger: newLedger(), viewers: make(chan struct{}, o.Viewers), templates: map[string]*template.Template{}}
	s.deeds = s.allDeeds()
	var err error
	if s.words, err = readWords(); err != nil {
		return nil, err
	}
	s.languages = slices.Sorted(maps.Keys(s.words))
	if s.bundles, err = readBundles(); err != nil {
		return nil, err
	}
	s.build = buildOf(s.bundles)
	for tag, words := range s.words {
		if s.templates[tag], err = template.New("").Funcs(words.functions()).ParseFS(pages, "pages/*.html"); err != nil {
			return nil, err
		}
	}
	if err := s.route(); err != nil {
		return nil, err
	}
	return s, s.serveAssets()
}

// route says who answers what.
func (s *Site) route() error {
	// The greatest level costs a few milliseconds, and a slow link ten times that.
	small, err := gzhttp.NewWrapper(gzhttp.EnableZstd(false), gzhttp.CompressionLevel(gzip.BestCompression))
	if err != nil {
		return err
	}
	for _, p := range livePages() {
		s.handle(p.pattern, small(s.open(p)))
	}
	s.handle("GET /manifest", http.HandlerFunc(s.manifest))
	s.handle("GET /live", http.HandlerFunc(s.live))
	s.handle("GET /api/alarms", small(http.HandlerFunc(s.past)))
	s.handle("GET /api/berths", small(http.HandlerFunc(s.berths)))
	s.handle("GET /log", small(http.HandlerFunc(s.log)))
	if s.o.Lines != nil {
		s.handle("GET /lines", small(http.HandlerFunc(s.lines)))
	}
	if s.o.Performance != nil {
		s.handle("GET /performance", small(http.HandlerFunc(s.performance)))
	}
	// A page from elsewhere cannot have its visitor do anything here.
	ours := http.NewCrossOriginProtection()
	for _, d := range s.deeds {
		s.handle(d.pattern(), ours.Handler(s.form(d)))
	}
	if s.o.Access != nil {
		s.handle("GET /sign-in", small(http.HandlerFunc(s.signInPage)))
		s.handle("POST /sign-in", ours.Handler(http.HandlerFunc(s.signIn)))
		s.handle("POST /sign-out", ours.Handler(http.HandlerFunc(s.signOut)))
	}
	return nil
}

func (s *Site) handle(pattern string, h http.Handler) {
	s.patterns = append(s.patterns, pattern)
	s.mux.Handle(pattern, h)
}

// Routes gives the handler by the patterns, of http.ServeMux, that it answers.
func (s *Site) Routes() map[string]http.Handler {
	routes := make(map[string]http.Handler, len(s.patterns))
	for _, pattern := range s.patterns {
		routes[pattern] = s
	}
	return routes
}

// serveAssets serves each embedded file by its name, with a tag of its content.
func (s *Site) serveAssets() error {
	return fs.WalkDir(assets, "assets", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := assets.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		tag := `"` + hex.EncodeToString(sum[:8]) + `"`
		s.handle("GET /"+name, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("ETag", tag)
			w.Header().Set("Cache-Control", "no-cache") // asked for again, sent again only when changed
			if name == deckWorker {
				w.Header().Set("Service-Worker-Allowed", "/deck")
				w.Header().Set("Content-Security-Policy", "default-src 'none'; connect-src 'self'") // what the worker itself may do
			}
			http.ServeFileFS(w, r, assets, name)
		}))
		return nil
	})
}

// ServeHTTP answers.
func (s *Site) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	secure(w.Header())
	s.mux.ServeHTTP(w, r)
}

// secure has a browser do nothing with an answer but show it.
func secure(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'") // a page sets its own
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}
