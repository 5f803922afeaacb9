package front

import (
	"log/slog"
	"net"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sys/unix"
)

// A connection to whoever has gone out of reach ends half a minute after what was sent
// last, on both listeners: the kernel's option for that (TCP_USER_TIMEOUT, RFC 5482) is
// on the connections that they accept.
func TestConnectionsThatNobodyAcknowledgesEnd(t *testing.T) {
	registry := prometheus.NewRegistry()
	f, err := New(t.Context(), Options{GRPCAddr: "127.0.0.1:0", HTTPAddr: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler),
		Registerer: registry, Gatherer: registry})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for name, l := range map[string]net.Listener{"gRPC": f.grpcListen, "HTTP": f.httpListen} {
		client, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer client.Close()
		accepted, err := l.Accept()
		if err != nil {
			t.Fatal(err)
		}
		defer accepted.Close()
		raw, err := accepted.(*kept).SyscallConn()
		if err != nil {
			t.Fatal(err)
		}
		var after int
		if e := raw.Control(func(fd uintptr) { after, err = unix.GetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT) }); e != nil || err != nil {
			t.Fatal(e, err)
		}
		if got := time.Duration(after) * time.Millisecond; got != 30*time.Second {
			t.Errorf("%s: given up after %v, want 30 s", name, got)
		}
	}
}
