package web

import (
	"bytes"
	"fmt"
	"net/http"

	"google.golang.org/protobuf/encoding/protojson"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// page draws the whole page.
func (s *Site) page(w http.ResponseWriter, r *http.Request) {
	v, err := s.view(r.Context(), r.URL.Query().Get("berth"), s.o.Board.Pictures(""))
	if err != nil {
		s.notice(w, http.StatusNotFound, "No such berth", err.Error())
		return
	}
	s.draw(w, http.StatusOK, "page", v)
}

// draw answers with a template, or with an error and nothing of it.
func (s *Site) draw(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := s.templates.ExecuteTemplate(&b, name, data); err != nil {
		s.o.Log.Error("page not drawn", "page", name, "err", err)
		http.Error(w, "the page could not be drawn", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the reader may be gone
}

// notice answers with one sentence and a way back.
func (s *Site) notice(w http.ResponseWriter, status int, title, text string) {
	s.draw(w, status, "notice", struct{ Title, Text string }{title, text})
}

// live sends the page's main part as server-sent events for as long as somebody
// looks.
func (s *Site) live(w http.ResponseWriter, r *http.Request) {
	select {
	case s.viewers <- struct{}{}:
		defer func() { <-s.viewers }()
	default:
		w.Header().Set("Retry-After", "10")
		http.Error(w, fmt.Sprintf("%d pages are open already", s.o.Viewers), http.StatusServiceUnavailable)
		return
	}
	out := newEvents(w)
	berth := r.URL.Query().Get("berth")
	var b bytes.Buffer
	err := s.o.Board.Watch(r.Context(), "", s.o.Interval, func(p []*hawserv1.BerthPicture) error {
		v, err := s.view(r.Context(), berth, p)
		if err != nil {
			return err
		}
		b.Reset()
		if err := s.templates.ExecuteTemplate(&b, "main", v); err != nil {
			return err
		}
		return out.send("picture", b.Bytes())
	})
	if err != nil && r.Context().Err() == nil {
		s.o.Log.Debug("live page ended", "err", err) // slow, gone, or the server stops
	}
}

// berths gives the picture as JSON.
func (s *Site) berths(w http.ResponseWriter, r *http.Request) {
	pictures := live.Seen(r.Context(), s.o.Access, s.o.Board.Pictures(r.URL.Query().Get("berth")))
	data, err := protojson.Marshal(&hawserv1.ListBerthsResponse{Berths: pictures})
	if err != nil {
		s.o.Log.Error("berths not encoded", "err", err)
		http.Error(w, "the berths could not be encoded", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data) // the reader may be gone
}
