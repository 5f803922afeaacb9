//go:build unix

package storetest

import (
	"syscall"
	"time"
)

// CPU is the processor time that this process has used so far.
func CPU() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err) // no other argument is possible
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
