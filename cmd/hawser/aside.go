package main

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"hawser/ingest/folder"
)

// writeAside writes a file that has its name only once it is whole, on disk and, where
// check is not nil, checked under the name it has until then.
func writeAside(path string, mode fs.FileMode, write func(io.Writer) error, check func(aside string) error) (err error) {
	aside := path + ".part"
	f, err := os.OpenFile(aside, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(aside))
		}
	}()
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return err
	}
	if check != nil {
		if err := check(aside); err != nil {
			return err
		}
	}
	return errors.Join(os.Rename(aside, path), folder.SyncDir(filepath.Dir(path)))
}
