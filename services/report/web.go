package report

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"hawser/detect/mooring"
	"hawser/services/alarm"
	"hawser/services/parameter"
	"hawser/services/stay"
)

// Access says what the caller of a request may see. It finds the caller in the
// request's context.
type Access interface {
	// SeesStay reports whether the caller may see what a ship did at a berth, now or
	// once.
	SeesStay(ctx context.Context, berth, ship string) bool
}

// Options are what a Desk needs. All but Access and Now are required.
type Options struct {
	Stays interface {
		List(berth string) []stay.Stay
	}
	Plans interface {
		PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error)
	}
	Alarms interface {
		Past(ctx context.Context, berth string, from, to time.Time) ([]alarm.State, error)
	}
	Source  func(berth string) Source
	Access  Access // nil where everybody may see everything
	Log     *slog.Logger
	Version string
	Now     func() time.Time // nil means the system's clock
}

// Desk makes reports of a server's stays. Safe for concurrent use.
type Desk struct {
	o     Options
	seats chan struct{} // a place for each report being made
}

// atOnce is how many reports are made at a time: each takes some hundred megabytes.
const atOnce = 2

// longest is how long one may take, with its wait for a place.
const longest = 3 * time.Minute

// NewDesk makes a desk.
func NewDesk(o Options) (*Desk, error) {
	if o.Stays == nil || o.Plans == nil || o.Alarms == nil || o.Source == nil || o.Log == nil {
		return nil, errors.New("report: Stays, Plans, Alarms, Source and Log are required")
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return &Desk{o: o, seats: make(chan struct{}, atOnce)}, nil
}

// policy lets the page use its own style and nothing else.
const policy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// asked is what a request asks for.
type asked struct {
	berth, stay string
	from, to    time.Time
	pdf         bool
	zone        *time.Location
}

// refusal is what is wrong with a request, for who made it.
type refusal struct {
	code int
	text string
}

func (r *refusal) Error() string { return r.text }

// ServeHTTP answers GET ?berth=…[&stay=…][&from=…&to=…][&format=pdf][&zone=…]: the
// report of a stay, the newest of the berth where none is named, or of a part of it.
func (d *Desk) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("Referrer-Policy", "no-referrer")
	a, err := parse(r.URL.RawQuery)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	// A month of readings takes longer than a page may.
	if err := http.NewResponseController(w).SetWriteDeadline(time.Now().Add(longest)); err != nil {
		d.o.Log.Debug("report has only the time of a page", "err", err)
	}
	ctx, cancel := context.WithTimeout(r.Context(), longest)
	defer cancel()
	select {
	case d.seats <- struct{}{}:
		defer func() { <-d.seats }()
	case <-ctx.Done():
		http.Error(w, "too many reports are being made: come again", http.StatusServiceUnavailable)
		return
	}
	body, name, err := d.make(ctx, a)
	var no *refusal
	switch {
	case errors.As(err, &no):
		http.Error(w, no.text, no.code)
		return
	case err != nil && r.Context().Err() != nil:
		return // nobody is there to answer
	case err != nil:
		d.o.Log.Error("report not made", "berth", a.berth, "stay", a.stay, "err", err)
		http.Error(w, "the report could not be made: the store or the alarm log does not answer", http.StatusServiceUnavailable)
		return
	}
	if a.pdf {
		h.Set("Content-Type", "application/pdf")
		h.Set("Content-Disposition", fmt.Sprintf(`inline; filename="%s.pdf"`, name))
	} else {
		h.Set("Content-Type", "text/html; charset=utf-8")
	}
	if _, err := w.Write(body); err != nil {
		d.o.Log.Debug("report not sent", "err", err)
	}
}

func parse(raw string) (a asked, err error) {
	v, err := parameter.Read(raw, "berth", "stay", "from", "to", "format", "zone")
	if err != nil {
		return a, err
	}
	if err := v.Need("berth"); err != nil {
		return a, err
	}
	a.berth, a.stay = v.Get("berth"), v.Get("stay")
	if a.from, err = v.Time("from"); err != nil {
		return a, err
	}
	if a.to, err = v.Time("to"); err != nil {
		return a, err
	}
	switch f := v.Get("format"); f {
	case "", "html":
	case "pdf":
		a.pdf = true
	default:
		return a, fmt.Errorf("format: %q is neither html nor pdf", f)
	}
	if a.zone, err = Zone(v.Get("zone")); err != nil {
		return a, fmt.Errorf("zone: %w", err)
	}
	return a, nil
}

// make makes what is asked for.
func (d *Desk) make(ctx context.Context, a asked) (body []byte, name string, err error) {
	s, err := d.find(ctx, a)
	if err != nil {
		return nil, "", err
	}
	fingerprint := s.Plans[len(s.Plans)-1].Plan
	plan, err := d.o.Plans.PlanByFingerprint(ctx, s.Berth, fingerprint)
	if err != nil {
		return nil, "", err
	}
	alarms, err := d.o.Alarms.Past(ctx, s.Berth, s.Arrival, s.End())
	if err != nil {
		return nil, "", err
	}
	f, err := Reckon(ctx, Input{Plan: plan, Fingerprint: fingerprint, Stay: s, Source: d.o.Source(s.Berth), Alarms: alarms,
		Zone: a.zone, Made: d.o.Now(), Version: d.o.Version})
	switch {
	case errors.Is(err, ErrNothing), errors.Is(err, ErrLong):
		return nil, "", &refusal{http.StatusUnprocessableEntity, err.Error()}
	case err != nil:
		return nil, "", err
	}
	body, err = Render(f, a.pdf)
	return body, "stay-" + s.ID, err
}

// find is the stay asked for, cut to the times asked for.
func (d *Desk) find(ctx context.Context, a asked) (stay.Stay, error) {
	for _, s := range d.o.Stays.List(a.berth) { // newest first
		switch {
		case d.o.Access != nil && !d.o.Access.SeesStay(ctx, s.Berth, s.Ship):
		case a.stay != "" && s.ID != a.stay:
		case !a.to.IsZero() && !s.Arrival.Before(a.to), !a.from.IsZero() && !s.End().After(a.from):
		default:
			return Cut(s, a.from, a.to), nil
		}
	}
	return stay.Stay{}, &refusal{http.StatusNotFound, a.none()}
}

// none says which stay there is none of, or none that the caller may see.
func (a *asked) none() string {
	text := "no stay"
	if a.stay != "" {
		text += " " + strconv.Quote(a.stay)
	}
	if a.berth != "" {
		text += " at berth " + strconv.Quote(a.berth)
	}
	if !a.from.IsZero() {
		text += " after " + a.from.Format(time.RFC3339)
	}
	if !a.to.IsZero() {
		text += " before " + a.to.Format(time.RFC3339)
	}
	return text + " that this caller may see; /api/stays lists them"
}
