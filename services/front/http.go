package front

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"runtime/debug"
	"slices"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
)

const (
	readHeader = 5 * time.Second
	readAll    = 15 * time.Second
	// write is for one response; a handler that streams extends it as it writes.
	write      = 30 * time.Second
	idle       = 2 * time.Minute
	maxHeaders = 32 << 10
)

func (f *Front) newHTTP(m *metrics) (*http.Server, error) {
	routes := map[string]http.Handler{
		"GET /metrics": promhttp.HandlerFor(f.o.Gatherer, promhttp.HandlerOpts{
			ErrorLog: slog.NewLogLogger(f.o.Log.Handler(), slog.LevelError), MaxRequestsInFlight: 4, Timeout: write}),
		"GET /healthz": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "ok") }),
		"GET /readyz":  http.HandlerFunc(f.readyz),
	}
	maps.Copy(routes, f.o.Routes)
	mux := http.NewServeMux()
	var h http.Handler = addressedHere(mux)
	var tls *tls.Config
	if f.o.Guard != nil {
		h, tls = mux, f.o.Guard.HTTPTLS()
	}
	f.routes = slices.Sorted(maps.Keys(routes))
	for _, pattern := range f.routes {
		handler := routes[pattern]
		if f.o.Guard != nil {
			var err error
			if handler, err = f.o.Guard.Route(pattern, handler); err != nil {
				return nil, err
			}
		}
		mux.Handle(pattern, handler)
	}
	return &http.Server{
		TLSConfig:         tls,
		Handler:           requests{f: f, m: m, next: h},
		ReadHeaderTimeout: readHeader, ReadTimeout: readAll, WriteTimeout: write, IdleTimeout: idle,
		MaxHeaderBytes: maxHeaders,
		ErrorLog:       slog.NewLogLogger(f.o.Log.Handler(), slog.LevelWarn),
	}, nil
}

func (f *Front) readyz(w http.ResponseWriter, _ *http.Request) {
	if reason := f.unready.Load(); reason != nil {
		http.Error(w, *reason, http.StatusServiceUnavailable)
		return
	}
	fmt.Fprintln(w, "ready")
}

// requests turns a handler's panic into a 500, and counts requests. What it answers is
// for who asked and is kept nowhere on the way, unless the handler says otherwise.
type requests struct {
	f    *Front
	m    *metrics
	next http.Handler
}

func (g requests) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	status := &statusWriter{ResponseWriter: w}
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	defer func() {
		p := recover()
		if p != nil && p != http.ErrAbortHandler {
			g.f.o.Log.Error("panic in an HTTP request", "path", r.URL.Path, "panic", p, "stack", string(debug.Stack()))
			g.m.panics.WithLabelValues("http").Inc()
			if status.code != 0 {
				p = http.ErrAbortHandler // the answer is half out: cut it off
			} else {
				http.Error(status, "internal error", http.StatusInternalServerError)
			}
		}
		g.m.requests.WithLabelValues(strconv.Itoa(status.answered())).Inc()
		if p == http.ErrAbortHandler {
			panic(p)
		}
	}()
	g.next.ServeHTTP(status, r)
}

// statusWriter remembers the status. Unwrap gives http.ResponseController the
// connection.
type statusWriter struct {
	http.ResponseWriter
	code int
}

func (w *statusWriter) WriteHeader(code int) {
	if w.code == 0 {
		w.code = code
	}
	w.ResponseWriter.WriteHeader(code)
}

func (w *statusWriter) Write(p []byte) (int, error) {
	if w.code == 0 {
		w.code = http.StatusOK
	}
	return w.ResponseWriter.Write(p)
}

func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *statusWriter) answered() int {
	if w.code == 0 {
		return http.StatusOK
	}
	return w.code
}
