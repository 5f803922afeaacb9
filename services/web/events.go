package web

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/klauspost/compress/gzip"
)

// eventTime is how long a reader may take for one event before it is let go.
const eventTime = 10 * time.Second

// events is a stream of server-sent events (WHATWG HTML, section 9.2), compressed
// for who takes that: the picture is the same few words again and again.
type events struct {
	rc  *http.ResponseController
	out io.Writer
	zip *gzip.Writer // nil where it is not compressed
}

func newEvents(w http.ResponseWriter, r *http.Request) *events {
	e := &events{out: w, rc: http.NewResponseController(w)}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // for a proxy that would hold events back
	h.Set("Vary", "Accept-Encoding")
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		e.zip, _ = gzip.NewWriterLevel(w, gzip.BestSpeed) // the level is one there is
		e.out = e.zip
	}
	return e
}

// send writes one event, whose data is one line, and waits until the connection
// has taken it. The deadline is moved on each time: the server's own is for one
// answer.
func (e *events) send(name, id string, data []byte) error {
	if err := e.rc.SetWriteDeadline(time.Now().Add(eventTime)); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(e.out, "event: %s\nid: %s\ndata: %s\n\n", name, id, data); err != nil {
		return err
	}
	if e.zip != nil {
		if err := e.zip.Flush(); err != nil {
			return err
		}
	}
	return e.rc.Flush()
}
