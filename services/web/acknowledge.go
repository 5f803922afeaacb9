package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"hawser/services/alarm"
)

const (
	maxForm = 16 << 10
	// Bounds of the schema, in characters.
	maxBy   = 80
	maxNote = 500
)

// acknowledge takes the form a person sends and goes back to the page.
func (s *Site) acknowledge(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		s.notice(w, http.StatusBadRequest, "Not acknowledged", "The form could not be read: "+err.Error())
		return
	}
	id, by, note := r.PostForm.Get("id"), strings.TrimSpace(r.PostForm.Get("by")), r.PostForm.Get("note")
	if why := unfit(id, by, note); why != "" {
		s.notice(w, http.StatusBadRequest, "Not acknowledged", why)
		return
	}
	_, err := s.o.Alarms.Acknowledge(r.Context(), id, alarm.Signed(r.Context(), s.o.Access, by), note)
	var taken *alarm.TakenError
	switch {
	case err == nil:
		http.Redirect(w, r, "/"+selection(r.PostForm.Get("berth")), http.StatusSeeOther)
	case errors.As(err, &taken):
		s.notice(w, http.StatusConflict, "Already taken on", taken.By+" acknowledged this alarm at "+stamp(taken.At).Text+".")
	case errors.Is(err, alarm.ErrUnknown):
		s.notice(w, http.StatusNotFound, "Not acknowledged", "There is no such alarm, or it was cleared long ago.")
	default:
		s.o.Log.Error("acknowledgement not recorded", "alarm", id, "err", err)
		s.notice(w, http.StatusServiceUnavailable, "Not acknowledged", "The alarm log did not take it. Try again.")
	}
}

// unfit says what is wrong with a form, "" for nothing.
func unfit(id, by, note string) string {
	switch {
	case id == "":
		return "The form names no alarm."
	case by == "":
		return "Give the name of who takes the alarm on."
	case !utf8.ValidString(by) || !utf8.ValidString(note):
		return "Name and note must be text."
	case utf8.RuneCountInString(by) > maxBy:
		return "The name is too long: at most 80 characters."
	case utf8.RuneCountInString(note) > maxNote:
		return "The note is too long: at most 500 characters."
	}
	return ""
}

// selection is the query that keeps a berth selected.
func selection(berth string) string {
	if berth == "" {
		return ""
	}
	return "?berth=" + url.QueryEscape(berth)
}
