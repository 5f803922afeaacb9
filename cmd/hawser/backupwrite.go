package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"hawser/ingest/folder"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/services/backup"
)

// Names of the parts of a backup.
const (
	plansPart = "journal/plans"
	storeDir  = "store"
)

// partNames are the journal's parts by their names in a backup.
func partNames() map[journal.Part]string {
	return map[journal.Part]string{
		journal.Documents: "journal/documents", journal.AllLogs: "journal/records", journal.Telemetry: "journal/telemetry",
	}
}

// contents is what a backup is made of.
type contents struct {
	journal copied
	// store gives a folder of the store's files as they are, nil where there is none;
	// done is called when they have been read.
	store func(ctx context.Context) (dir string, done func(), err error)
	kind  string // of store
}

// copied is a journal as a backup sees it.
type copied interface {
	planbook.Documents
	Snapshot(ctx context.Context, part journal.Part, w io.Writer) error
}

// writeBackup writes a backup. What is in one part may name positions in a later one
// and never past its end: first documents (up to where who reads the journal is) and
// logs, then the store, then the telemetry, and last the plans again, since a batch may
// have come in under a plan that is newer than the documents.
func writeBackup(ctx context.Context, w io.Writer, c contents) error {
	out := backup.NewWriter(w, time.Now())
	stream := func(part journal.Part) error {
		return out.Add(partNames()[part], func(w io.Writer) error { return c.journal.Snapshot(ctx, part, w) })
	}
	if err := errors.Join(stream(journal.Documents), stream(journal.AllLogs)); err != nil {
		return err
	}
	if c.store != nil {
		if err := addStore(ctx, out, c); err != nil {
			return err
		}
	}
	if err := stream(journal.Telemetry); err != nil {
		return err
	}
	if err := out.Add(plansPart, func(w io.Writer) error { return planbook.Copy(ctx, c.journal, w) }); err != nil {
		return err
	}
	return out.Close(backup.Manifest{By: version(), Folder: folder.Form, Store: c.kind})
}

// addStore adds the store's files.
func addStore(ctx context.Context, out *backup.Writer, c contents) error {
	dir, done, err := c.store(ctx)
	if err != nil {
		return err
	}
	defer done()
	return filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		inside, err := filepath.Rel(dir, name)
		if err != nil {
			return err
		}
		return out.Add(path.Join(storeDir, filepath.ToSlash(inside)), func(w io.Writer) error {
			f, err := os.Open(name)
			if err != nil {
				return err
			}
			defer f.Close()
			_, err = io.Copy(w, f)
			return err
		})
	})
}
