package front

import (
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// giveUpUnacked has connections of a listener ended when nothing that was sent on them
// has been acknowledged for so long (TCP_USER_TIMEOUT, RFC 5482). Else one to a phone
// that has gone out of reach takes the kernel a quarter of an hour to give up, and
// holds the place of a page until then.
func giveUpUnacked(after time.Duration) func(network, address string, c syscall.RawConn) error {
	return func(_, _ string, c syscall.RawConn) (err error) {
		if e := c.Control(func(fd uintptr) {
			err = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, int(after.Milliseconds()))
		}); e != nil {
			return e
		}
		return err
	}
}
