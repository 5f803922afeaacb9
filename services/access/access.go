// Package access says who may call what, and keeps who did on record. It never
// answers a call and knows no service. Its invariant: what no rule and no grant
// lets in is refused, by the one table of rules, whichever way it came.
//
//	gRPC ─► Unary, Stream ─┐                        ┌─► handler, with the caller in
//	                       ├─► who? ─► rule ─► grant┤   its context
//	HTTP ─► Route ─────────┘                        └─► refusal
//	                            │                         │
//	                            └──► share of the server  └──► audit log
//
// People show a bearer token: one of our own, kept as a hash in the access file,
// or one of an OpenID Connect issuer, whose groups the file gives roles to. A
// browser signs in with such a token once and then shows a session's cookie.
// Devices show a certificate that names their berths. A role is over the whole
// site, one berth, or one ship: wherever the mooring plan in force says she lies,
// and since she came there.
//
// The files may change while the server runs: they are looked at every two
// seconds, what is wrong is told and left, and calls whose caller may no longer
// do what they do are ended.
package access

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Alarms says what berth an alarm is of, "" for the server itself, and when it
// went on record. Safe for concurrent use.
type Alarms interface {
	Alarm(id string) (berth string, recorded time.Time, ok bool)
}

// Options are what a Guard needs. All are required but the last four.
type Options struct {
	// File is the access file. Cert and Key are the server's certificate chain and
	// its private key, in PEM.
	File, Cert, Key string
	Stays           Stays
	Alarms          Alarms
	// Audit takes the audit log, a line a write. Safe for concurrent use.
	Audit      io.Writer
	Log        *slog.Logger
	Registerer prometheus.Registerer

	Limits Limits
	// Every is how often the files are looked at; 0 means 2 s.
	Every time.Duration
	// Now is the clock that what expires is held against; nil means the system's.
	Now func() time.Time
}

func (o *Options) validate() error {
	switch {
	case o.File == "" || o.Cert == "" || o.Key == "":
		return errors.New("access: File, Cert and Key are required")
	case o.Stays == nil || o.Alarms == nil || o.Audit == nil || o.Log == nil || o.Registerer == nil:
		return errors.New("access: Stays, Alarms, Audit, Log and Registerer are required")
	case o.Every < 0:
		return fmt.Errorf("access: look every %s", o.Every)
	}
	if o.Every == 0 {
		o.Every = 2 * time.Second
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return o.Limits.validate()
}

// Guard stands before the handlers. Safe for concurrent use.
type Guard struct {
	o        Options
	m        *metrics
	audit    *audit
	rules    map[string]rule
	shares   shares
	sessions sessions
	calls    calls

	inForce atomic.Pointer[roll]
	papers  atomic.Pointer[papers]

	// As they were last read, well or not. Of New, then of Run.
	rollRead, papersRead *sources
}

func (g *Guard) roll() *roll { return g.inForce.Load() }

// New reads the files.
func New(o Options) (*Guard, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	g := &Guard{
		o: o, rules: rules(),
		shares:   shares{limits: o.Limits, of: map[string]*share{}},
		sessions: sessions{of: map[Hash]*session{}},
		calls:    calls{open: map[*call]struct{}{}},
	}
	if err := errors.Join(g.readRoll(), g.readPapers()); err != nil {
		return nil, err
	}
	g.m = newMetrics(o.Registerer, g)
	g.audit = newAudit(&lines{to: o.Audit, lost: g.m.lost, log: o.Log})
	return g, nil
}

// Run looks at the files until ctx ends.
func (g *Guard) Run(ctx context.Context) error {
	tick := time.NewTicker(g.o.Every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			g.roll().close(nil)
			return nil
		case <-tick.C:
			g.look()
		}
	}
}

// look takes up the files that have changed. What is wrong is told once and left:
// what was in force stays so.
func (g *Guard) look() {
	if g.rollRead.changed() {
		g.tell("access file", g.readRoll())
	}
	if g.papersRead.changed() {
		g.tell("certificate", g.readPapers())
	}
}

func (g *Guard) tell(what string, err error) {
	if err != nil {
		g.m.reloads.WithLabelValues("wrong").Inc()
		g.o.Log.Error("changed "+what+" is wrong; what was in force stays so", "err", err)
		return
	}
	g.m.reloads.WithLabelValues("ok").Inc()
	g.o.Log.Info("changed " + what + " taken up")
}

// readRoll puts the access file in force and ends what it no longer allows.
func (g *Guard) readRoll() error {
	g.rollRead = newSources()
	r, err := readRoll(g.o.File, g.rollRead)
	if err != nil {
		return err
	}
	was := g.roll()
	r.open(was, g.o.Now)
	g.inForce.Store(r)
	g.calls.recheck(r, g.o.Now())
	was.close(r)
	return nil
}

func (g *Guard) readPapers() error {
	g.papersRead = newSources()
	p, err := readPapers(g.o.Cert, g.o.Key, g.papersRead)
	if err != nil {
		return err
	}
	g.papers.Store(p)
	return nil
}
