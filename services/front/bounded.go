package front

import (
	"net"
	"sync"

	"github.com/prometheus/client_golang/prometheus"
)

// mostConnections is how many connections each listener keeps at a time where the system
// grants the descriptors: hundreds of gateways and pages, and as many again that come
// back before the old ones are given up. Common practice, no source.
const mostConnections = 1500

// bounded is a listener that keeps so many connections and closes what comes beyond them:
// connections that somebody leaves open are not to take the descriptors that journal and
// store need for their files.
type bounded struct {
	*net.TCPListener
	room   chan struct{} // a token for each that is kept
	closed prometheus.Counter
}

func bound(l net.Listener, most int, closed prometheus.Counter) net.Listener {
	return &bounded{l.(*net.TCPListener), make(chan struct{}, most), closed}
}

// Accept waits for a connection that there is room for.
func (b *bounded) Accept() (net.Conn, error) {
	for {
		c, err := b.AcceptTCP()
		if err != nil {
			return nil, err
		}
		select {
		case b.room <- struct{}{}:
			return &kept{TCPConn: c, leave: sync.OnceFunc(func() { <-b.room })}, nil
		default:
			b.closed.Inc()
			_ = c.Close() // nothing was sent on it
		}
	}
}

// kept is a connection that is counted.
type kept struct {
	*net.TCPConn
	leave func()
}

// Close closes it and gives its room to another.
func (k *kept) Close() error {
	defer k.leave()
	return k.TCPConn.Close()
}
