package front

import (
	"errors"
	"io"
	"net"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

// What comes when there is no more room is closed at once and counted; room is given back,
// once, by a connection that is closed.
func TestConnectionsAreBounded(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed := prometheus.NewCounter(prometheus.CounterOpts{Name: "closed"})
	b := bound(l, 2, closed)
	defer b.Close()
	accepted := make(chan net.Conn)
	go func() {
		defer close(accepted)
		for {
			c, err := b.Accept()
			if err != nil {
				return
			}
			accepted <- c
		}
	}()
	dial := func() net.Conn {
		t.Helper()
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		return c
	}
	turnedAway := func() {
		t.Helper()
		if _, err := dial().Read(make([]byte, 1)); !errors.Is(err, io.EOF) {
			t.Errorf("one too many: %v, want it closed", err)
		}
	}
	dial()
	first := <-accepted
	dial()
	second := <-accepted
	turnedAway()
	turnedAway()
	for range 2 { // closing twice gives room once
		_ = first.Close()
	}
	dial()
	third := <-accepted
	turnedAway()
	if n := testutil.ToFloat64(closed); n != 3 {
		t.Errorf("%g were counted, want 3", n)
	}
	for _, c := range []net.Conn{second, third} {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	<-accepted
}
