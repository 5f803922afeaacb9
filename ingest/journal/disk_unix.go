//go:build unix

package journal

import (
	"errors"
	"syscall"
)

// freeShare is how much of the disk that a folder is on may still be written, 0 to 1.
func freeShare(dir string) (float64, error) {
	var disk syscall.Statfs_t
	if err := syscall.Statfs(dir, &disk); err != nil {
		return 0, err
	}
	if disk.Blocks == 0 {
		return 0, errors.New("disk of no size")
	}
	return float64(disk.Bavail) / float64(disk.Blocks), nil
}
