package folder

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/gofrs/flock"
)

// lockFile is locked by the process that has the folder open, which says in
// holderFile what it is: where locks are mandatory nobody else can read the first.
// Both stay when the process is gone; the lock does not, however that ends.
const (
	lockFile   = "lock"
	holderFile = "lock-holder"
)

// InUseError says that another process has a data folder open.
type InUseError struct {
	Dir string
	By  string // which process, empty where it has not said so
}

func (e *InUseError) Error() string {
	by := e.By
	if by == "" {
		by = "another process"
	}
	return fmt.Sprintf("data folder %s is in use by %s", e.Dir, by)
}

// Lock keeps every other process out of a data folder, which is made where there is
// none, until release or the end of this one. The error is an InUseError where
// another has it.
func Lock(dir string) (release func() error, err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	l, holder := flock.New(filepath.Join(dir, lockFile), flock.SetFlag(os.O_CREATE|os.O_RDWR), flock.SetPermissions(0o644)), filepath.Join(dir, holderFile)
	got, err := l.TryLock()
	if err != nil {
		return nil, fmt.Errorf("data folder %s: lock: %w", dir, err)
	}
	if !got {
		by, _ := os.ReadFile(holder) // where it cannot be read, the process is not named
		return nil, &InUseError{Dir: dir, By: strings.TrimSpace(string(by))}
	}
	// Where it cannot be written, as on a full disk, the process is not named either.
	_ = os.WriteFile(holder, fmt.Appendf(nil, "%s\n", thisProcess()), 0o644)
	return l.Close, nil
}

// thisProcess names this process for who finds the folder in use.
func thisProcess() string {
	name := filepath.Base(os.Args[0])
	if len(os.Args) > 1 && !strings.HasPrefix(os.Args[1], "-") {
		name += " " + os.Args[1]
	}
	where := ""
	if host, err := os.Hostname(); err == nil {
		where = " on " + host
	}
	return fmt.Sprintf("process %d (%s)%s", os.Getpid(), name, where)
}
