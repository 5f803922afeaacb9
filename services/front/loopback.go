package front

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"time"
)

// loopbackOnly refuses an address that others could reach.
func loopbackOnly(what, address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("%s address %q: want host:port: %w", what, address, err)
	}
	if host == "" {
		return refused(what, address, "it is every interface")
	}
	addresses, err := resolve(host)
	if err != nil {
		return fmt.Errorf("%s address %q: %w", what, address, err)
	}
	for _, a := range addresses {
		if !a.IsLoopback() {
			return refused(what, address, a.String()+" is not loopback")
		}
	}
	return nil
}

func refused(what, address, why string) error {
	return fmt.Errorf("%s address %q refused: %s, and neither TLS nor access is set up; use 127.0.0.1 or ::1, or set them up", what, address, why)
}

func resolve(host string) ([]netip.Addr, error) {
	if a, err := netip.ParseAddr(host); err == nil {
		return []netip.Addr{a}, nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	return net.DefaultResolver.LookupNetIP(ctx, "ip", host)
}

// isLoopbackHost reports whether a request's Host names this machine.
func isLoopbackHost(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	if host == "localhost" {
		return true
	}
	if n := len(host); n > 2 && host[0] == '[' && host[n-1] == ']' {
		host = host[1 : n-1]
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.IsLoopback()
}

// addressedHere refuses requests that came by a name of someone else's choosing.
func addressedHere(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !isLoopbackHost(r.Host) {
			http.Error(w, "this server answers to localhost only", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}
