package front

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"google.golang.org/grpc"
)

// begin says that Run may go on: once, and not after Close.
func (f *Front) begin() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.running || f.closed {
		return errors.New("front: already run or closed")
	}
	f.running = true
	return nil
}

// Run serves until ctx ends or a server fails, then stops both: no new calls,
// then a grace for those under way, then none. It returns when all is stopped,
// with the failures of the servers if there were any.
func (f *Front) Run(ctx context.Context) error {
	if err := f.begin(); err != nil {
		return err
	}
	failed := make(chan error, 2)
	var wg sync.WaitGroup
	serve := func(what string, run func() error) {
		wg.Go(func() {
			if err := run(); err != nil && !errors.Is(err, http.ErrServerClosed) && !errors.Is(err, grpc.ErrServerStopped) {
				failed <- fmt.Errorf("%s: %w", what, err)
			}
		})
	}
	serve("gRPC", func() error { return f.grpc.Serve(f.grpcListen) })
	serve("HTTP", func() error {
		if f.http.TLSConfig != nil {
			return f.http.ServeTLS(f.httpListen, "", "")
		}
		return f.http.Serve(f.httpListen)
	})

	var first error
	select {
	case <-ctx.Done():
	case first = <-failed:
	}
	f.stop()
	wg.Wait()
	close(failed)
	for err := range failed {
		first = errors.Join(first, err)
	}
	return first
}

// stop stops both servers at once.
func (f *Front) stop() {
	f.SetReady("stopping")
	for _, fn := range f.o.OnStop {
		fn()
	}
	grace, cancel := context.WithTimeout(context.Background(), f.o.Grace)
	defer cancel()
	began := time.Now()
	var wg sync.WaitGroup
	wg.Go(func() { f.stopGRPC(grace) })
	wg.Go(func() { f.stopHTTP(grace) })
	wg.Wait()
	f.o.Log.Info("front stopped", "took", time.Since(began))
}

func (f *Front) stopGRPC(grace context.Context) {
	done := make(chan struct{})
	go func() {
		f.grpc.GracefulStop()
		close(done)
	}()
	select {
	case <-done:
	case <-grace.Done():
		f.o.Log.Warn("gRPC calls did not end in time and were cut off", "grace", f.o.Grace)
		f.grpc.Stop()
		<-done
	}
}

func (f *Front) stopHTTP(grace context.Context) {
	if err := f.http.Shutdown(grace); err != nil {
		f.o.Log.Warn("HTTP requests did not end in time and were cut off", "grace", f.o.Grace, "err", err)
		if err := f.http.Close(); err != nil {
			f.o.Log.Warn("HTTP close", "err", err)
		}
	}
}
