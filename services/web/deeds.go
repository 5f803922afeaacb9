package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"hawser/services/alarm"
)

const (
	maxForm = 16 << 10
	// Bounds of the schema, in characters.
	maxBy   = 80
	maxNote = 500
)

// filled is the form that a person sends with whatever is done to alarms.
type filled struct {
	person alarm.Person
	note   string
	values url.Values
}

// deed is what a form asks for.
type deed func(ctx context.Context, f filled) error

// unfitError is a form that cannot be meant.
type unfitError string

func (e unfitError) Error() string { return string(e) }

// form reads a form, does what it asks for and goes back to the page.
func (s *Site) form(do deed) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if err := r.ParseForm(); err != nil {
			s.notice(w, http.StatusBadRequest, "Not done", "The form could not be read: "+err.Error())
			return
		}
		if side := r.URL.Query().Get("side"); side != "" { // a button that is for one side
			r.PostForm.Set("side", side)
		}
		f, err := fill(r.PostForm)
		f.person = alarm.Sign(r.Context(), s.o.Access, f.person)
		if err == nil {
			err = do(r.Context(), f)
		}
		if err != nil {
			s.undone(w, err)
			return
		}
		http.Redirect(w, r, "/"+selection(r.PostForm.Get("berth")), http.StatusSeeOther)
	})
}

// fill checks what every form has.
func fill(v url.Values) (filled, error) {
	f := filled{alarm.Person{By: strings.TrimSpace(v.Get("by")), Side: alarm.Terminal}, strings.TrimSpace(v.Get("note")), v}
	if v.Get("side") == alarm.Ship.String() {
		f.person.Side = alarm.Ship
	}
	switch {
	case f.person.By == "":
		return f, unfitError("Give the name of who does it.")
	case !utf8.ValidString(f.person.By) || !utf8.ValidString(f.note):
		return f, unfitError("Name and note must be text.")
	case utf8.RuneCountInString(f.person.By) > maxBy:
		return f, unfitError("The name is too long: at most 80 characters.")
	case utf8.RuneCountInString(f.note) > maxNote:
		return f, unfitError("The note is too long: at most 500 characters.")
	}
	return f, nil
}

// undone says why something was not done.
func (s *Site) undone(w http.ResponseWriter, err error) {
	var taken *alarm.TakenError
	var unfit unfitError
	switch {
	case errors.As(err, &unfit):
		s.notice(w, http.StatusBadRequest, "Not done", unfit.Error())
	case errors.As(err, &taken):
		s.notice(w, http.StatusConflict, "Already taken on", taken.By+" acknowledged this alarm for the "+taken.Side.String()+" at "+stamp(taken.At).Text+".")
	case errors.Is(err, alarm.ErrUnknown):
		s.notice(w, http.StatusNotFound, "Not done", "There is no such alarm, or it was cleared long ago.")
	case errors.Is(err, alarm.ErrNotHeld):
		s.notice(w, http.StatusNotFound, "Not done", "Nothing is held there, or no longer.")
	case errors.Is(err, alarm.ErrEmergency):
		s.notice(w, http.StatusConflict, "Not done", "An emergency cannot be put on a shelf.")
	case errors.Is(err, alarm.ErrNoReason):
		s.notice(w, http.StatusBadRequest, "Not done", "Give the reason in the note: whoever takes over has to know it.")
	default:
		s.o.Log.Error("what a person did is not recorded", "err", err)
		s.notice(w, http.StatusServiceUnavailable, "Not done", "The alarm log did not take it. Try again.")
	}
}

func (s *Site) acknowledge(ctx context.Context, f filled) error {
	id, err := f.alarm()
	if err == nil {
		_, err = s.o.Alarms.Acknowledge(ctx, id, f.person, f.note)
	}
	return err
}

// alarm is the alarm that the form names.
func (f *filled) alarm() (string, error) {
	id := f.values.Get("id")
	if id == "" {
		return "", unfitError("The form names no alarm.")
	}
	return id, nil
}

// shelf is a time on a shelf, as the form has it and in words.
type shelf struct{ Value, Text string }

// shelves are the times that the page offers, up to alarm.ShelfMost.
func shelves() []shelf {
	return []shelf{{"30m", "30 min"}, {"1h", "1 h"}, {"4h", "4 h"}, {"8h", "8 h"}}
}

func (s *Site) shelve(ctx context.Context, f filled) error {
	id, err := f.alarm()
	if err != nil {
		return err
	}
	period, err := time.ParseDuration(f.values.Get("period"))
	if err != nil || period <= 0 || period > alarm.ShelfMost {
		return unfitError("Give a time on the shelf of at most 8 hours.")
	}
	_, err = s.o.Alarms.Shelve(ctx, id, f.person, f.note, period)
	return err
}

// placeOf is a subject in a form: berth/condition/line/group.
func placeOf(s alarm.Subject) string {
	return strings.Join([]string{s.Berth, s.Condition, s.Line, s.Group}, "/")
}

// place is the subject that the form names.
func (f *filled) place() (alarm.Subject, error) {
	p := strings.Split(f.values.Get("place"), "/")
	if len(p) != 4 {
		return alarm.Subject{}, unfitError("The form names no line.")
	}
	return alarm.Subject{Berth: p[0], Condition: p[1], Line: p[2], Group: p[3]}, nil
}

func (s *Site) outOfService(ctx context.Context, f filled) error {
	place, err := f.place()
	if err != nil {
		return err
	}
	if place.Berth == "" || place.Line == "" {
		return unfitError("The form names no line.")
	}
	_, err = s.o.Alarms.TakeOutOfService(ctx, place, f.person, f.note)
	return err
}

func (s *Site) endHold(ctx context.Context, f filled) error {
	place, err := f.place()
	if err != nil {
		return err
	}
	return s.o.Alarms.EndHold(ctx, place, f.person, f.note)
}

// selection is the query that keeps a berth selected.
func selection(berth string) string {
	if berth == "" {
		return ""
	}
	return "?berth=" + url.QueryEscape(berth)
}
