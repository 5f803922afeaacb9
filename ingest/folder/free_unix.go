//go:build unix

package folder

import "syscall"

// Free is how many bytes may still be written to the disk that a folder is on.
func Free(dir string) (uint64, error) {
	var disk syscall.Statfs_t
	if err := syscall.Statfs(dir, &disk); err != nil {
		return 0, err
	}
	return uint64(disk.Bavail) * uint64(disk.Bsize), nil
}
