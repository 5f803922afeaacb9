//go:build !linux

package front

import (
	"syscall"
	"time"
)

// giveUpUnacked leaves to the system when it gives a connection up.
func giveUpUnacked(time.Duration) func(network, address string, c syscall.RawConn) error { return nil }
