package store

import (
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"hawser/ingest/folder"
)

// Refill says whether the journal is to be given to a store from its start, since the
// store is new or has lost something. That costs time and doubles nothing. A file in
// the store's folder says so to later starts too, where one ends before it has begun.
type Refill struct {
	note   string
	log    *slog.Logger
	wanted bool
}

// NewRefill is called before a store is opened in a folder: what that does to damaged
// parts is known only afterwards. A disk too full for the note is no reason not to open.
func NewRefill(dir string, log *slog.Logger) *Refill {
	r := &Refill{note: filepath.Join(dir, "refill"), log: log}
	if _, err := os.Stat(r.note); err == nil {
		r.wanted = true
		return r
	}
	if err := errors.Join(os.WriteFile(r.note, nil, 0o640), folder.SyncDir(dir)); err != nil {
		log.Warn("a start that ends early will not be known to the next", "err", err)
	}
	return r
}

// Want is for a store that is new or has lost something.
func (r *Refill) Want() { r.wanted = true }

// Opened is called when all that may be wanted is.
func (r *Refill) Opened() {
	if !r.wanted {
		r.Begun()
	}
}

// Wanted reports whether the follower of the journal should begin from its start.
func (r *Refill) Wanted() bool { return r.wanted }

// Begun is called when no restart keeps the follower from going on with that.
func (r *Refill) Begun() {
	err := os.Remove(r.note)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	if err := errors.Join(err, folder.SyncDir(filepath.Dir(r.note))); err != nil {
		r.log.Warn("the next start will fill the store from the journal again", "err", err)
	}
}
