package journal

import (
	"errors"

	"golang.org/x/sys/windows"
)

// freeShare is how much of the disk that a folder is on may still be written, 0 to 1.
func freeShare(dir string) (float64, error) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free, all uint64 // bytes, within this user's quota
	if err := windows.GetDiskFreeSpaceEx(name, &free, &all, nil); err != nil {
		return 0, err
	}
	if all == 0 {
		return 0, errors.New("disk of no size")
	}
	return float64(free) / float64(all), nil
}
