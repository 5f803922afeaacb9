package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"hawser/ingest/store/tsdb"
)

// backupHandler serves GET: a backup, written while the server goes on. One at a
// time; who stops taking it is cut off.
func (s *station) backupHandler() http.Handler {
	var one sync.Mutex
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !one.TryLock() {
			http.Error(w, "a backup is being written already", http.StatusConflict)
			return
		}
		defer one.Unlock()
		w.Header().Set("Content-Type", "application/zip")
		w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="hawser-%s.zip"`, time.Now().UTC().Format("20060102T150405Z")))
		began := time.Now()
		out := &patient{w: w, c: http.NewResponseController(w)}
		if err := writeBackup(r.Context(), out, s.contents()); err != nil {
			s.log.Error("backup not written", "err", err, "bytes", out.n)
			panic(http.ErrAbortHandler) // so that nobody takes it for whole
		}
		s.log.Info("backup written", "bytes", out.n, "took", time.Since(began))
	})
}

// contents is what a backup of the running station is made of.
func (s *station) contents() contents {
	c := contents{journal: s.journal, kind: s.cfg.Store.Kind}
	db, ok := s.store.(*tsdb.Store)
	if !ok {
		return c
	}
	c.store = func(ctx context.Context) (string, func(), error) {
		dir := filepath.Join(s.cfg.Data, "store-copy")
		if err := os.RemoveAll(dir); err != nil { // of a backup that was killed
			return "", nil, err
		}
		done := func() { _ = os.RemoveAll(dir) } // the next one does it again
		if err := db.Snapshot(ctx, dir); err != nil {
			done()
			return "", nil, err
		}
		return dir, done, nil
	}
	return c
}

// patient gives each write its own time.
type patient struct {
	w    http.ResponseWriter
	c    *http.ResponseController
	n    int64
	till time.Time
}

func (p *patient) Write(b []byte) (int, error) {
	const most = 30 * time.Second
	if now := time.Now(); p.till.Sub(now) < most/2 {
		p.till = now.Add(most)
		if err := p.c.SetWriteDeadline(p.till); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return 0, err
		}
	}
	n, err := p.w.Write(b)
	p.n += int64(n)
	return n, err
}
