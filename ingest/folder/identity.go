package folder

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

const identityFile = "identity"

// Identity names a data folder on this machine, the same each time, and this process
// for people. A folder that was copied or restored is another on another machine. It
// is for who has the folder locked.
func Identity(dir string) (owner, process string, err error) {
	host, err := os.Hostname()
	if err != nil {
		return "", "", err
	}
	name := filepath.Join(dir, identityFile)
	id, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(id) == 0 {
		id = []byte(rand.Text() + "\n")
		err = replace(name, id)
	}
	if err != nil {
		return "", "", fmt.Errorf("data folder %s: %w", dir, err)
	}
	return strings.TrimSpace(string(id)) + " on " + host, thisProcess() + " with data folder " + dir, nil
}
