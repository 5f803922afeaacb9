package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"time"

	"hawser/ingest/planbook"
	"hawser/services/access"
	"hawser/services/alarm"
	"hawser/services/web"
)

// tlsConfig is the server's certificate chain and its key, in PEM.
type tlsConfig struct {
	Cert string `yaml:"cert"`
	Key  string `yaml:"key"`
}

// accessConfig is who may do what, and where it is kept on record.
type accessConfig struct {
	File  string `yaml:"file"`
	Audit string `yaml:"audit"` // empty for standard error
}

// checkAccess wants TLS and access to be set up together: tokens must not go in
// clear, and a certificate alone lets everybody in.
func (c *config) checkAccess() error {
	switch {
	case c.Access.File == "" && c.TLS == tlsConfig{}:
		if c.Access.Audit != "" {
			return errors.New("access.audit: there is nothing to audit without access.file")
		}
		return nil
	case c.Access.File == "":
		return errors.New("access.file: must be given where tls is")
	case c.TLS.Cert == "" || c.TLS.Key == "":
		return errors.New("tls: cert and key must be given where access.file is")
	}
	return nil
}

// openAccess opens what stands before every call, where it is set up.
func (s *station) openAccess(context.Context) (err error) {
	if s.cfg.Access.File == "" {
		return nil
	}
	var audit io.Writer = os.Stderr
	if path := s.cfg.Access.Audit; path != "" {
		f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
		if err != nil {
			return fmt.Errorf("access.audit: %w", err)
		}
		s.onClose("audit log", f.Close)
		audit = f
	}
	s.guard, err = access.New(access.Options{
		File: s.cfg.Access.File, Cert: s.cfg.TLS.Cert, Key: s.cfg.TLS.Key,
		Stays: stays{s.book}, Alarms: alarmsOnRecord{s.alarms},
		Audit: audit, Log: s.log, Registerer: s.registry,
	})
	if err != nil {
		return usageError{err}
	}
	return nil
}

// stays is the plan book as access sees it.
type stays struct{ *planbook.Book }

func (s stays) Stay(berth string) (ship string, since time.Time, ok bool) {
	e, ok := s.Current(berth)
	if !ok {
		return "", time.Time{}, false
	}
	return e.Plan.Ship.Name, e.Since, true
}

// alarmsOnRecord is the alarm log as access sees it.
type alarmsOnRecord struct{ *alarm.Log }

func (a alarmsOnRecord) Alarm(id string) (berth string, recorded time.Time, ok bool) {
	state, ok := a.Find(id)
	return state.Berth, state.Recorded, ok
}

// doors is the guard as the front sees it: it tells people in the look of the pages
// what they are not let in to.
type doors struct {
	*access.Guard
	pages *web.Site
}

func (d doors) Route(pattern string, next http.Handler) (http.Handler, error) {
	return d.RouteTelling(pattern, next, d.pages.TurnedAway)
}
