//go:build unix

package front

import "syscall"

// connections is how many each listener keeps: both together at most half of the
// descriptors that this process may have.
func connections() int {
	var l syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &l); err != nil {
		return mostConnections
	}
	return int(min(mostConnections, uint64(l.Cur)/4))
}
