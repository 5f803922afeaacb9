package front

import (
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Either server failing under way stops the other, and its error is told.
func TestOneServerFailsAndBothStop(t *testing.T) {
	for _, which := range []string{"gRPC", "HTTP"} {
		t.Run(which, func(t *testing.T) {
			registry := prometheus.NewRegistry()
			f, err := New(t.Context(), Options{GRPCAddr: "127.0.0.1:0", HTTPAddr: "127.0.0.1:0",
				Log: slog.New(slog.DiscardHandler), Registerer: registry, Gatherer: registry})
			if err != nil {
				t.Fatal(err)
			}
			listener := f.grpcListen
			if which == "HTTP" {
				listener = f.httpListen
			}
			listener.Close()
			ended := make(chan error, 1)
			go func() { ended <- f.Run(context.Background()) }()
			select {
			case err := <-ended:
				if err == nil || !strings.HasPrefix(err.Error(), which+": ") {
					t.Errorf("error: %v", err)
				}
			case <-time.After(20 * time.Second):
				t.Fatal("still running")
			}
			if err := f.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}
