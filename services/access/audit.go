package access

import (
	"io"
	"log/slog"
	"sync"
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/time/rate"
)

// audit is the log of who did what, one JSON object a line:
//
//	{"time":…,"msg":"allowed","who":"terminal-desk","kind":"token","role":"acknowledge",
//	 "what":"POST /acknowledge","berth":"east-3","alarm":"…","from":"192.0.2.7:50122","code":"303"}
//
// msg is allowed, ended (a stream, after allowed) or refused, which has why and
// reason. What somebody has shown of who they are is never in it.
type audit struct {
	log *slog.Logger

	mu      sync.Mutex
	refused map[string]*quieted // by who, or from where
}

// quieted counts refusals of one caller that were too many to write each.
type quieted struct {
	limit *rate.Limiter
	left  int
}

// A caller's first refusals are written each, then one a second; how many were
// left out stands in the next.
const (
	refusalsAtOnce = 20
	maxQuieted     = 4096
	maxReason      = 300 // bytes: part of it may be the caller's own
)

func newAudit(w io.Writer) *audit {
	handler := slog.NewJSONHandler(w, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
		switch {
		case a.Key == slog.LevelKey:
			return slog.Attr{}
		case a.Value.Kind() == slog.KindString && a.Value.String() == "":
			return slog.Attr{}
		case a.Value.Kind() == slog.KindString && len(a.Value.String()) > maxReason:
			return slog.String(a.Key, a.Value.String()[:maxReason])
		}
		return a
	}})
	return &audit{log: slog.New(handler), refused: map[string]*quieted{}}
}

// lines is where the lines go. A line that cannot be written is counted, and told
// when it is the first: it holds up nobody.
type lines struct {
	to     io.Writer
	lost   prometheus.Counter
	log    *slog.Logger
	failed atomic.Bool
}

func (l *lines) Write(p []byte) (int, error) {
	n, err := l.to.Write(p)
	if err != nil {
		l.lost.Inc()
	}
	if was := l.failed.Swap(err != nil); err != nil && !was {
		l.log.Error("audit log is not written", "err", err)
	}
	return n, err
}

// entry is one line.
type entry struct {
	who, kind, role string
	subject         string // of the issuer's token, whose name may change
	what            string // the method, or the pattern of the route
	about           about
	from            string // address
	code            string
	why             why
	reason          string
}

func (e *entry) of(c *Caller) { e.who, e.subject, e.kind = c.Name, c.Subject, c.Kind }

func (a *audit) write(msg string, e entry) {
	key := e.who
	if key == "" {
		key = host(e.from)
	}
	left, ok := 0, true
	if e.why != "" {
		left, ok = a.mayWrite(key)
	}
	if !ok {
		return
	}
	args := []any{"who", e.who, "subject", e.subject, "kind", e.kind, "role", e.role, "what", e.what, "berth", e.about.berth, "alarm", e.about.alarm,
		"from", e.from, "code", e.code, "why", string(e.why), "reason", e.reason}
	if left > 0 {
		args = append(args, "left_out_before", left)
	}
	a.log.Info(msg, args...)
}

// mayWrite reports whether a refusal of a caller is to be written, and how many
// were not since the last.
func (a *audit) mayWrite(key string) (left int, ok bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	q := a.refused[key]
	if q == nil {
		if len(a.refused) >= maxQuieted {
			clear(a.refused)
		}
		q = &quieted{limit: rate.NewLimiter(1, refusalsAtOnce)}
		a.refused[key] = q
	}
	if !q.limit.Allow() {
		q.left++
		return 0, false
	}
	left, q.left = q.left, 0
	return left, true
}
