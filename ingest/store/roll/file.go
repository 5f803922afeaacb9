package roll

import (
	"errors"
	"fmt"
	"runtime/debug"

	bolterrors "go.etcd.io/bbolt/errors"
)

// ErrFileDamaged is a B+tree file, of rolls or of the list, that does not hold together.
var ErrFileDamaged = errors.New("file is damaged")

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
