package roll

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime/debug"
	"time"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// ErrFileDamaged is a B+tree file, of rolls or of the list, that does not hold together.
var ErrFileDamaged = errors.New("file is damaged")

// OpenFile opens a B+tree file, or makes it. One that ends before its pages do is
// ErrFileDamaged at once: what the tree makes of what is not there any more is left to
// chance.
func OpenFile(path string) (db *bolt.DB, err error) {
	err = Soundly(func() error {
		if err := checkWhole(path); err != nil {
			return err
		}
		db, err = bolt.Open(path, 0o640, &bolt.Options{Timeout: time.Second, FreelistType: bolt.FreelistMapType})
		return err
	})
	return db, err
}

// checkWhole compares the size of a file with what its tree says of it, reading no more
// than that.
func checkWhole(path string) error {
	file, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist), err == nil && file.Size() == 0: // to be made
		return nil
	case err != nil:
		return err
	case file.Size() < int64(4*os.Getpagesize()): // with which one begins
		return fmt.Errorf("%w: of %d bytes", ErrFileDamaged, file.Size())
	}
	db, err := bolt.Open(path, 0, &bolt.Options{ReadOnly: true, Timeout: time.Second})
	if err != nil {
		return err
	}
	var whole int64
	err = db.View(func(tx *bolt.Tx) error {
		whole = tx.Size()
		return nil
	})
	if err = errors.Join(err, db.Close()); err == nil && file.Size() < whole {
		err = fmt.Errorf("%w: cut to %d bytes of %d", ErrFileDamaged, file.Size(), whole)
	}
	return err
}

// Soundly does what reads or writes a B+tree file. Where its pages are damaged the tree
// panics, and where the file ends before they do the system faults on the memory that
// stands for them: both become an error that is ErrFileDamaged.
func Soundly(do func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", ErrFileDamaged, p)
		}
	}()
	err = do()
	if errors.Is(err, bolterrors.ErrInvalid) || errors.Is(err, bolterrors.ErrChecksum) || errors.Is(err, bolterrors.ErrVersionMismatch) {
		err = fmt.Errorf("%w: %w", ErrFileDamaged, err)
	}
	return err
}
