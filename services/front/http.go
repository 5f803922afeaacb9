package front

import (
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
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

func (f *Front) newHTTP(m *metrics) *http.Server {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(f.o.Gatherer, promhttp.HandlerOpts{
		ErrorLog: slog.NewLogLogger(f.o.Log.Handler(), slog.LevelError), MaxRequestsInFlight: 4, Timeout: write}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "ok") })
	mux.HandleFunc("GET /readyz", f.readyz)
	if f.o.Pages != nil {
		mux.Handle("/", f.o.Pages)
	}
	var h http.Handler = mux
	if !f.o.AllowRemote {
		h = addressedHere(h)
	}
	return &http.Server{
		Handler:           httpGuard{f: f, m: m, next: h},
		ReadHeaderTimeout: readHeader, ReadTimeout: readAll, WriteTimeout: write, IdleTimeout: idle,
		MaxHeaderBytes: maxHeaders,
		ErrorLog:       slog.NewLogLogger(f.o.Log.Handler(), slog.LevelWarn),
	}
}

func (f *Front) readyz(w http.ResponseWriter, _ *http.Request) {
	if reason := f.unready.Load(); reason != nil {
		http.Error(w, *reason, http.StatusServiceUnavailable)
		return
	}
	fmt.Fprintln(w, "ready")
}

// httpGuard turns a handler's panic into a 500, and counts requests.
type httpGuard struct {
	f    *Front
	m    *metrics
	next http.Handler
}

func (g httpGuard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	status := &statusWriter{ResponseWriter: w}
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
