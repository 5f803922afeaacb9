package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"hawser/ingest/folder"
)

// RefillNote is a file in a store's folder. It is there from before the store can find
// itself new or damaged until the journal is read from its start for it: a start that
// ends in between leaves the refill to the next.
type RefillNote string

// NoteRefill writes the note in a folder. It reports whether one was there.
func NoteRefill(dir string) (note RefillNote, before bool, err error) {
	note = RefillNote(filepath.Join(dir, "refill"))
	if _, err := os.Stat(string(note)); err == nil {
		return note, true, nil
	}
	if err := os.WriteFile(string(note), nil, 0o640); err != nil {
		return note, false, err
	}
	return note, false, folder.SyncDir(dir)
}

// Drop removes the note, if there is one.
func (n RefillNote) Drop() error {
	if err := os.Remove(string(n)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return folder.SyncDir(filepath.Dir(string(n)))
}
