package deliver

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/caution"
)

// Alertmanager is a Prometheus Alertmanager, told by its API v2 of what is
// active, at once and again every Every, and of what has cleared for a quarter of
// an hour after. An alert's end is set three times Every ahead, so that it
// resolves by itself where this server is gone for good; the watch's own silence
// is then for a rule on its metrics. In a cluster each member is listed.
type Alertmanager struct {
	Name   string
	URL    string        // as in http://127.0.0.1:9093
	Every  time.Duration // default 30 s
	Filter Filter
}

// resolvedFor is how long a cleared alarm is told of: Prometheus's own figure, so
// that one message lost does not leave an alert standing.
const resolvedFor = 15 * time.Minute

type alertmanager struct {
	to     *url.URL
	link   string
	every  time.Duration
	client *http.Client
	told   map[string]bool      // as active the last time, by id
	ended  map[string]time.Time // when an alarm was first seen cleared
}

func (a Alertmanager) target() (*target, error) {
	base, err := parseURL(a.URL, "http", "https")
	if err != nil {
		return nil, fmt.Errorf("alertmanager %s: %w", a.Name, err)
	}
	if a.Every < 0 {
		return nil, fmt.Errorf("alertmanager %s: every: %s is negative", a.Name, a.Every)
	}
	a.Every = cmp.Or(a.Every, 30*time.Second)
	m := alertmanager{
		to: base.JoinPath("api", "v2", "alerts"), every: a.Every, client: newClient(),
		told: map[string]bool{}, ended: map[string]time.Time{},
	}
	return &target{name: a.Name, filter: a.Filter, run: func(ctx context.Context, d *Deliverer, t *target) {
		defer m.client.CloseIdleConnections()
		m.link = d.o.ExternalURL
		(&present{d: d, t: t, every: m.every, tell: m.tell}).run(ctx)
	}}, nil
}

// alert is a PostableAlert of the API.
type alert struct {
	Labels       map[string]string `json:"labels"`
	Annotations  map[string]string `json:"annotations"`
	StartsAt     time.Time         `json:"startsAt"`
	EndsAt       time.Time         `json:"endsAt"`
	GeneratorURL string            `json:"generatorURL,omitempty"`
}

func (m *alertmanager) tell(ctx context.Context, alarms []alarm.State) error {
	now := time.Now()
	alerts := make([]alert, 0, len(alarms))
	for i := range alarms {
		s := &alarms[i]
		if s.Calls() {
			alerts = append(alerts, m.alert(s, now.Add(3*m.every)))
		} else if ended, ok := m.resolved(s.ID, now); ok {
			alerts = append(alerts, m.alert(s, ended))
		}
	}
	m.tidy(now)
	if err := m.post(ctx, alerts); err != nil {
		return err
	}
	clear(m.told)
	for i := range alarms {
		if alarms[i].Calls() {
			m.told[alarms[i].ID] = true
		}
	}
	return nil
}

// resolved is when an alarm that was told as active ended, while it is still to
// be told of.
func (m *alertmanager) resolved(id string, now time.Time) (time.Time, bool) {
	ended, ok := m.ended[id]
	if !ok && m.told[id] {
		ended, ok = now, true
		m.ended[id] = now
	}
	return ended, ok
}

// tidy forgets what has been told of long enough.
func (m *alertmanager) tidy(now time.Time) {
	for id, ended := range m.ended {
		if now.Sub(ended) > resolvedFor {
			delete(m.ended, id)
		}
	}
}

func (m *alertmanager) post(ctx context.Context, alerts []alert) error {
	body, err := json.Marshal(alerts)
	if err != nil {
		return err
	}
	return post(ctx, m.client, m.to, body, nil)
}

func (m *alertmanager) alert(s *alarm.State, ends time.Time) alert {
	a := alert{
		Labels: map[string]string{
			"alertname": s.Condition, "berth": s.Berth, "line": s.Line, "group": s.Group, "source": s.Source, "priority": s.Priority.String(),
		},
		Annotations: map[string]string{
			"summary": summary(s), "description": cmp.Or(s.Return.Detail, s.Detail), "alarm_id": s.ID,
		},
		StartsAt: s.Raised, EndsAt: ends, GeneratorURL: m.link,
	}
	if s.HasValue {
		a.Annotations["value"] = strings.TrimSpace(strconv.FormatFloat(s.Value, 'f', 1, 64) + " " + s.Unit)
	}
	if first := s.Acknowledged(); first != nil {
		a.Annotations["acknowledged_by"] = first.By
	}
	if dangerous(s) {
		a.Annotations["caution"] = caution.Full
	}
	if a.EndsAt.Before(a.StartsAt) {
		a.EndsAt = a.StartsAt
	}
	for _, texts := range []map[string]string{a.Labels, a.Annotations} {
		for k, v := range texts {
			if v == "" {
				delete(texts, k)
			}
		}
	}
	return a
}

func dangerous(s *alarm.State) bool { return s.Priority <= detect.Alarm && s.Berth != "" }

// summary is an alarm in a few words.
func summary(s *alarm.State) string {
	where := cmp.Or(s.Berth, "server")
	switch {
	case s.Line != "":
		where += ", line " + s.Line
	case s.Group != "":
		where += ", " + s.Group
	case s.Source != "":
		where += ", gateway " + s.Source
	}
	return s.Condition + " at " + where
}
