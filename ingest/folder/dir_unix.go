//go:build unix

package folder

import "os"

// OpenDir opens a folder so that its names can be synced.
func OpenDir(dir string) (*os.File, error) { return os.Open(dir) }
