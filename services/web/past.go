package web

import (
	"fmt"
	"net/http"
	"time"

	"hawser/services/alarm"
)

// past answers GET ?berth=…&from=…&to=…, times in RFC 3339, with the alarms that
// were active at some time in it, oldest first, as they are now: {"list": […]}.
func (s *Site) past(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	var times [2]time.Time
	for i, name := range [2]string{"from", "to"} {
		t, err := time.Parse(time.RFC3339Nano, query.Get(name))
		if err != nil {
			http.Error(w, fmt.Sprintf("%s: %q is no RFC 3339 time", name, query.Get(name)), http.StatusBadRequest)
			return
		}
		times[i] = t
	}
	all, err := s.o.Alarms.Past(r.Context(), query.Get("berth"), times[0], times[1])
	if err != nil {
		if r.Context().Err() == nil {
			s.o.Log.Error("past alarms not answered", "berth", query.Get("berth"), "err", err)
			http.Error(w, "the alarm log does not answer", http.StatusServiceUnavailable)
		}
		return
	}
	list := []alarmWire{}
	for _, a := range alarm.Seen(r.Context(), s.o.Access, all) {
		list = append(list, wireAlarm(&a))
	}
	answer(w, http.StatusOK, struct {
		List []alarmWire `json:"list"`
	}{list})
}
