// Package folder knows in which form a data folder is: which version of hawser's
// files lies in it. It never looks into the files themselves, except to take a
// folder of an older form to the present one. Its invariant: a folder is opened in
// the present form or not at all.
//
//	DATA/version    one line: hawser-data <form>
//	DATA/lock       held by the one process that has the folder open
//	DATA/lock-holder which that is, or was last
//	DATA/identity    tells this folder from every other one
//	DATA/journal/   of the journal, with its own mark
//	DATA/store/     of the embedded store
//
// A form is counted up when something in the folder changes so that a version
// before would misread it. The documents and logs within the journal carry forms of
// their own besides.
package folder

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// Form is the form that this version of hawser writes.
const Form = 1

// Restoring is the folder within a data folder that is there while it is being
// restored.
const Restoring = "restoring"

const (
	versionFile = "version"
	versionWord = "hawser-data"
)

// NewerError says that a folder was written by a later version of hawser.
type NewerError struct {
	Dir  string
	Form int
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("data folder %s is of form %d, written by a later version of hawser; this one knows forms up to %d", e.Dir, e.Form, Form)
}

// upgrades takes a folder from the form that is the index to the next. Each can be
// done twice: the form is written after it.
func upgrades() []func(dir string) error {
	return []func(dir string) error{
		// 0, from before there were forms: everything is as in 1.
		func(string) error { return nil },
	}
}

// Open makes a data folder where there is none, and takes one of an older form to
// the present one, a form at a time. It tells the form that it found, Form for a
// new folder.
func Open(dir string) (found int, err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return 0, err
	}
	if _, err := os.Stat(filepath.Join(dir, Restoring)); err == nil {
		return 0, fmt.Errorf("data folder %s was not restored to the end: empty it and restore again", dir)
	}
	if found, err = Read(dir); err != nil {
		return found, err
	}
	if found > Form {
		return found, &NewerError{Dir: dir, Form: found}
	}
	for form := found; form < Form; form++ {
		if err := upgrades()[form](dir); err != nil {
			return found, fmt.Errorf("data folder %s: from form %d to %d: %w", dir, form, form+1, err)
		}
		if err := write(dir, form+1); err != nil {
			return found, err
		}
	}
	if _, err := os.Stat(filepath.Join(dir, versionFile)); errors.Is(err, fs.ErrNotExist) {
		return found, write(dir, Form)
	}
	return found, nil
}

// Read tells the form of a data folder: 0 for one from before there were forms, Form
// for an empty one or none.
func Read(dir string) (int, error) {
	data, err := os.ReadFile(filepath.Join(dir, versionFile))
	if errors.Is(err, fs.ErrNotExist) {
		for _, part := range []string{"journal", "store"} {
			if _, err := os.Stat(filepath.Join(dir, part)); err == nil {
				return 0, nil
			}
		}
		return Form, nil
	}
	if err != nil {
		return 0, err
	}
	word, number, _ := strings.Cut(strings.TrimSuffix(string(data), "\n"), " ")
	form, err := strconv.Atoi(number)
	if word != versionWord || err != nil || form < 1 {
		return 0, fmt.Errorf("data folder %s: %s: want %q and a form, not %.40q", dir, versionFile, versionWord, data)
	}
	return form, nil
}

// write puts the form in place.
func write(dir string, form int) error {
	return replace(filepath.Join(dir, versionFile), fmt.Appendf(nil, "%s %d\n", versionWord, form))
}

// replace puts a file in place: written aside, synced, renamed, folder synced.
func replace(name string, data []byte) error {
	f, err := os.OpenFile(name+".new", os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(name+".new", name); err != nil {
		return err
	}
	return SyncDir(filepath.Dir(name))
}

// Make makes an empty data folder of a form, for what is restored to be put in.
func Make(dir string, form int) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return write(dir, form)
}

// SyncDir puts the names in a folder, or what is in a file, on disk.
func SyncDir(dir string) error {
	d, err := OpenDir(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
