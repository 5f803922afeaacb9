package web

import (
	"bytes"
	"fmt"
	"net/http"
	"time"
)

// eventTime is how long a reader may take for one event before it is let go.
const eventTime = 10 * time.Second

// events is a stream of server-sent events (WHATWG HTML, section 9.2).
type events struct {
	w   http.ResponseWriter
	rc  *http.ResponseController
	buf bytes.Buffer
}

func newEvents(w http.ResponseWriter) *events {
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no") // for a proxy that would hold events back
	return &events{w: w, rc: http.NewResponseController(w)}
}

// send writes one event and waits until the connection has taken it. The
// deadline is moved on each time: the server's own is for one answer.
func (e *events) send(name string, data []byte) error {
	e.buf.Reset()
	fmt.Fprintf(&e.buf, "event: %s\n", name)
	for line := range bytes.Lines(data) {
		if line = bytes.TrimSpace(line); len(line) > 0 { // HTML: white space between lines says nothing
			e.buf.WriteString("data: ")
			e.buf.Write(line)
			e.buf.WriteByte('\n')
		}
	}
	e.buf.WriteByte('\n')
	if err := e.rc.SetWriteDeadline(time.Now().Add(eventTime)); err != nil {
		return err
	}
	if _, err := e.w.Write(e.buf.Bytes()); err != nil {
		return err
	}
	return e.rc.Flush()
}
