package storetest

import (
	"syscall"
	"time"
)

// CPU is the processor time that this process has used so far.
func CPU() time.Duration {
	self, err := syscall.GetCurrentProcess()
	if err != nil {
		panic(err)
	}
	var begun, ended, kernel, user syscall.Filetime
	if err := syscall.GetProcessTimes(self, &begun, &ended, &kernel, &user); err != nil {
		panic(err) // one's own may always be asked
	}
	return span(kernel) + span(user)
}

// span is a time used, which is told in units of 100 ns. Nanoseconds of a Filetime
// is of a date.
func span(t syscall.Filetime) time.Duration {
	return time.Duration(uint64(t.HighDateTime)<<32|uint64(t.LowDateTime)) * 100
}
