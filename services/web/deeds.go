package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"hawser/services/alarm"
)

const (
	maxForm   = 16 << 10
	shelfMost = alarm.ShelfMost
	// Bounds of the schema, in characters.
	maxBy   = 80
	maxNote = 500
)

// filled is what a person sends with whatever is done to alarms, as a form: by,
// side, note, and id of an alarm or place of what is held.
type filled struct {
	person alarm.Person
	note   string
	values url.Values
}

// deed is what a person asks for, at the path of its name.
type deed struct {
	name string
	do   func(ctx context.Context, f filled) error
}

func (s *Site) allDeeds() []deed {
	return []deed{{"acknowledge", s.acknowledge}, {"end-hold", s.endHold}, {"note", s.note},
		{"out-of-service", s.outOfService}, {"reset", s.reset}, {"shelve", s.shelve}}
}

func (d deed) pattern() string { return "POST /" + d.name }

// refusal is the answer to what was not done, and its name in the words.
type refusal struct {
	Name string `json:"refused"`
	By   string `json:"by,omitempty"` // who was first
	Side string `json:"side,omitempty"`
	At   int64  `json:"at,omitempty"`
}

// unfitError is a form that cannot be meant, by the name of the refusal.
type unfitError string

func (e unfitError) Error() string { return string(e) }

// may names the deeds that the caller may do about an alarm, or about what is held
// at a place for "", by the rules that what they send will be judged by. nil where
// nobody signs in.
func (s *Site) may(ctx context.Context, id string, place alarm.Subject) (names []string) {
	if s.o.Access == nil {
		return nil
	}
	form := url.Values{"place": {strings.Join([]string{place.Berth, place.Condition, place.Line, place.Group, place.Source}, "/")}}
	if id != "" {
		form.Set("id", id)
	}
	for _, d := range s.deeds {
		if s.o.Access.May(ctx, d.pattern(), form) {
			names = append(names, d.name)
		}
	}
	return names
}

// form reads a form and does what it asks for. The answer is {} or a refusal.
func (s *Site) form(d deed) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if err := r.ParseForm(); err != nil {
			answer(w, http.StatusBadRequest, refusal{Name: "unreadable"})
			return
		}
		f, err := fill(r.PostForm)
		f.person = alarm.Sign(r.Context(), s.o.Access, f.person)
		if err == nil {
			err = d.do(r.Context(), f)
		}
		if err != nil {
			status, no := s.refusalOf(err)
			answer(w, status, no)
			return
		}
		answer(w, http.StatusOK, struct{}{})
	})
}

func answer(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		http.Error(w, "the answer could not be encoded", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(data) // the reader may be gone
}

// fill checks what every form has.
func fill(v url.Values) (filled, error) {
	f := filled{alarm.Person{By: strings.TrimSpace(v.Get("by")), Side: alarm.Terminal}, strings.TrimSpace(v.Get("note")), v}
	if v.Get("side") == alarm.Ship.String() {
		f.person.Side = alarm.Ship
	}
	switch {
	case f.person.By == "":
		return f, unfitError("no-name")
	case !utf8.ValidString(f.person.By) || !utf8.ValidString(f.note):
		return f, unfitError("no-text")
	case utf8.RuneCountInString(f.person.By) > maxBy:
		return f, unfitError("long-name")
	case utf8.RuneCountInString(f.note) > maxNote:
		return f, unfitError("long-note")
	}
	return f, nil
}

// refusalOf says why something was not done.
func (s *Site) refusalOf(err error) (int, refusal) {
	var taken *alarm.TakenError
	var unfit unfitError
	switch {
	case errors.As(err, &unfit):
		return http.StatusBadRequest, refusal{Name: unfit.Error()}
	case errors.As(err, &taken):
		return http.StatusConflict, refusal{Name: "taken", By: taken.By, Side: taken.Side.String(), At: millis(taken.At)}
	case errors.Is(err, alarm.ErrUnknown):
		return http.StatusNotFound, refusal{Name: "unknown"}
	case errors.Is(err, alarm.ErrNotHeld):
		return http.StatusNotFound, refusal{Name: "not-held"}
	case errors.Is(err, alarm.ErrEmergency):
		return http.StatusConflict, refusal{Name: "emergency"}
	case errors.Is(err, alarm.ErrNotLatching):
		return http.StatusConflict, refusal{Name: "not-latching"}
	case errors.Is(err, alarm.ErrNoText):
		return http.StatusBadRequest, refusal{Name: "no-note"}
	case errors.Is(err, alarm.ErrNoReason):
		return http.StatusBadRequest, refusal{Name: "no-reason"}
	}
	s.o.Log.Error("what a person did is not recorded", "err", err)
	return http.StatusServiceUnavailable, refusal{Name: "not-recorded"}
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
		return "", unfitError("no-alarm")
	}
	return id, nil
}

func (s *Site) note(ctx context.Context, f filled) error {
	id, err := f.alarm()
	if err == nil {
		_, err = s.o.Alarms.WriteNote(ctx, id, f.person, f.note)
	}
	return err
}

func (s *Site) reset(ctx context.Context, f filled) error {
	id, err := f.alarm()
	if err == nil {
		_, err = s.o.Alarms.Reset(ctx, id, f.person, f.note)
	}
	return err
}

func (s *Site) shelve(ctx context.Context, f filled) error {
	id, err := f.alarm()
	if err != nil {
		return err
	}
	period, err := time.ParseDuration(f.values.Get("period"))
	if err != nil || period <= 0 || period > shelfMost {
		return unfitError("period")
	}
	_, err = s.o.Alarms.Shelve(ctx, id, f.person, f.note, period)
	return err
}

// place is the subject that the form names: berth/condition/line/group, and /source
// where there is one.
func (f *filled) place() (alarm.Subject, error) {
	p := strings.Split(f.values.Get("place"), "/")
	if len(p) == 4 {
		p = append(p, "")
	}
	if len(p) != 5 {
		return alarm.Subject{}, unfitError("no-line")
	}
	return alarm.Subject{Berth: p[0], Condition: p[1], Line: p[2], Group: p[3], Source: p[4]}, nil
}

func (s *Site) outOfService(ctx context.Context, f filled) error {
	place, err := f.place()
	if err != nil {
		return err
	}
	if place.Berth == "" || place.Line == "" {
		return unfitError("no-line")
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
