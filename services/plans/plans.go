// Package plans shows people the mooring plans and takes new ones from them: a
// plan as what there is to draw, as text, what is wrong or poor in a text, who put
// a berth under which plan when. It reckons no load and draws nothing. Its
// invariant: a berth comes under a new plan only whole, only in place of the one
// that its writer had before them, and under their name.
//
//	GET  /api/plan?berth=          the plan in force, as geometry; &version= another
//	GET  /api/plan/text?berth=     the same as YAML
//	GET  /api/plan/versions?berth= who put the berth under which plan when
//	POST /api/plan/check?berth=    a text: its faults, else remarks, geometry, changes
//	PUT  /api/plan?berth=&by=      a text becomes the plan in force; If-Match has the
//	                               fingerprint of the one it takes the place of
package plans

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/planbook"
	hawserv1 "hawser/proto/hawser/v1"
)

// Book is the plans on record.
type Book interface {
	Current(berth string) (planbook.Entry, bool)
	Put(ctx context.Context, m *hawserv1.MooringPlan, t planbook.Terms) (planbook.Entry, error)
	Versions(ctx context.Context, berth string) ([]planbook.Version, error)
	Message(ctx context.Context, berth, fingerprint string) (*hawserv1.MooringPlan, error)
}

// Access is what the caller of a request may see, and who they are, by the
// request's context.
type Access interface {
	Sees(ctx context.Context, berth string) (since time.Time, ok bool)
	SeesShip(ctx context.Context, berth, ship string) bool
	Signed(ctx context.Context, by string) (name, role string, ship bool)
}

// Options are what a Desk needs. Book and Log are required.
type Options struct {
	Book Book
	Log  *slog.Logger
	// Access is nil where everybody may see everything.
	Access Access
	// InForce is told of each plan that has been put in force here; may be nil.
	InForce func(berth string, p *mooring.Plan)
}

// Desk answers about plans. Safe for concurrent use.
type Desk struct{ o Options }

// New makes a desk.
func New(o Options) (*Desk, error) {
	if o.Book == nil || o.Log == nil {
		return nil, errors.New("plans: Book and Log are required")
	}
	return &Desk{o}, nil
}

// Routes gives the handlers by the patterns, of http.ServeMux, that they answer.
func (d *Desk) Routes() map[string]http.Handler {
	// A page from elsewhere cannot have its visitor put a plan in force.
	ours := http.NewCrossOriginProtection()
	return map[string]http.Handler{
		"GET /api/plan":          http.HandlerFunc(d.plan),
		"GET /api/plan/text":     http.HandlerFunc(d.text),
		"GET /api/plan/versions": http.HandlerFunc(d.versions),
		"POST /api/plan/check":   http.HandlerFunc(d.check),
		"PUT /api/plan":          ours.Handler(http.HandlerFunc(d.put)),
	}
}

// entry finds the plan that a request asks for: the one in force, or another
// version that the caller may see. The answer is written where it is not found.
func (d *Desk) entry(w http.ResponseWriter, r *http.Request) (m *hawserv1.MooringPlan, fingerprint string, ok bool) {
	q := r.URL.Query()
	berth, version := q.Get("berth"), q.Get("version")
	now, known := d.o.Book.Current(berth)
	if !known || !d.sees(r, berth, now.Plan.Ship.Name) {
		http.Error(w, "berth "+berth+": not under any plan here", http.StatusNotFound)
		return nil, "", false
	}
	if version == "" || version == now.Fingerprint {
		version = now.Fingerprint
	} else if !d.seesVersion(r, berth, version) {
		http.Error(w, "berth "+berth+": no such version of its plan", http.StatusNotFound)
		return nil, "", false
	}
	m, err := d.o.Book.Message(r.Context(), berth, version)
	if err != nil {
		d.failed(w, r, berth, err)
		return nil, "", false
	}
	return m, version, true
}

// sees reports whether the caller may see a berth while this ship is there.
func (d *Desk) sees(r *http.Request, berth, ship string) bool {
	return d.o.Access == nil || d.o.Access.SeesShip(r.Context(), berth, ship)
}

// failed answers a request that the record would not answer.
func (d *Desk) failed(w http.ResponseWriter, r *http.Request, berth string, err error) {
	if r.Context().Err() != nil {
		return // nobody is there to answer
	}
	d.o.Log.Error("plan not answered", "berth", berth, "err", err)
	http.Error(w, "the plans on record do not answer", http.StatusServiceUnavailable)
}

// answer writes JSON.
func answer(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil { // a plan that was checked has numbers only
		http.Error(w, "the answer could not be written", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(data) // the reader may be gone
}
