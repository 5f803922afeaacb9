package edge_test

import (
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	hawserv1 "hawser/proto/hawser/v1"

	"hawser/ingest/edge"
)

// The words are gRPC's own, so that real connections have to be refused.
func TestReason(t *testing.T) {
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	gone.Close()
	pages := httptest.NewServer(http.NotFoundHandler())
	defer pages.Close()
	for address, want := range map[string]string{
		gone.Addr().String():           "dial tcp " + gone.Addr().String() + ": connect: connection refused",
		pages.Listener.Addr().String(): "HTTP/1.1 is spoken there: pages have another address than gRPC",
	} {
		conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		must(t, err)
		defer conn.Close()
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		_, err = hawserv1.NewLineServiceClient(conn).ListLines(ctx, &hawserv1.ListLinesRequest{})
		if err == nil {
			t.Fatalf("%s: answered", address)
		}
		if got := edge.Reason(err); !strings.HasSuffix(got, want) || strings.Contains(got, "desc =") {
			t.Errorf("%s: %q, want %q", address, got, want)
		}
	}
}
