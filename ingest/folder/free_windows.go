package folder

import "golang.org/x/sys/windows"

// Free is how many bytes may still be written to the disk that a folder is on.
func Free(dir string) (uint64, error) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free uint64 // within this user's quota
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return free, err
}
