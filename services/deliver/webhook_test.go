package deliver_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/deliver"
	"hawser/services/waittest"
)

var secret = []byte("thirty-two bytes of test secret!")

// receiver is a webhook's far end, which checks every signature with the
// specification's own library.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	ids    []string // of what was taken, in order
	got    []string // "raised east-3 4 over-limit"
	last   string   // body taken
	tries  int
	answer func(try int, what string) int // status; nil is 204
	faults []string
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	r := &receiver{}
	checker, err := standardwebhooks.NewWebhookRaw(secret)
	if err != nil {
		t.Fatal(err)
	}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		body, err := io.ReadAll(req.Body)
		if err == nil {
			err = checker.Verify(body, req.Header)
		}
		var m struct {
			Type      string
			Timestamp time.Time
			Data      struct{ Berth, Line, Condition, Position, Detail string }
		}
		if err == nil {
			err = json.Unmarshal(body, &m)
		}
		r.mu.Lock()
		defer r.mu.Unlock()
		if err != nil || m.Timestamp.IsZero() || m.Data.Detail == "" && m.Type == "alarm.raised" {
			r.faults = append(r.faults, fmt.Sprintf("%v: %s", err, body))
		}
		r.tries++
		status, what := http.StatusNoContent, strings.TrimPrefix(m.Type, "alarm.")+" "+m.Data.Berth+" "+m.Data.Line+" "+m.Data.Condition
		if r.answer != nil {
			status = r.answer(r.tries, what)
		}
		if status/100 == 2 {
			r.last = string(body)
			r.ids, r.got = append(r.ids, req.Header.Get("webhook-id")), append(r.got, what)
		}
		w.WriteHeader(status)
	}))
	t.Cleanup(func() {
		r.Close()
		for _, f := range r.faults {
			t.Error(f)
		}
	})
	return r
}

func (r *receiver) has(want ...string) func() error {
	return func() error {
		r.mu.Lock()
		defer r.mu.Unlock()
		if !slices.Equal(r.got, want) {
			return fmt.Errorf("received %q, want %q", r.got, want)
		}
		return nil
	}
}

func (h *house) hook(r *receiver, f deliver.Filter) deliver.Options {
	o := h.options()
	o.Webhooks = []deliver.Webhook{{Name: "office", URL: r.URL, Secret: secret, Filter: f}}
	return o
}

func TestWebhookTellsEveryChangeInOrder(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.start(h.hook(r, deliver.Filter{}))
	h.change(detect.OverLimit, "4", true)
	h.change(detect.LineParted, "5", true)
	alarms, _ := h.alarms.List("", false)
	if _, err := h.alarms.Acknowledge(t.Context(), alarms[0].ID, alarm.Person{By: "mate"}, "going"); err != nil {
		t.Fatal(err)
	}
	h.change(detect.OverLimit, "4", false)
	waittest.Until(t, "every change", r.has("raised east-3 4 over-limit", "raised east-3 5 line-parted",
		"acknowledged east-3 5 line-parted", "cleared east-3 4 over-limit"))
}

func TestWebhookTellsWhatItsFilterWants(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.start(h.hook(r, deliver.Filter{Berths: []string{"east-3"}, Least: detect.Alarm}))
	h.change(detect.Imbalance, "4", true) // a warning
	h.changeAt("west-1", detect.LineParted, "5", true)
	h.change(detect.SnapLoad, "6", true) // an alarm
	waittest.Until(t, "what is wanted", r.has("raised east-3 6 snap-load"))
}

// Who is next in line hears of what nobody has taken on in time, and of what
// becomes of it; of the rest nothing.
func TestWebhookOfTheNextInLine(t *testing.T) {
	h, r := newHouse(t, time.Millisecond), newReceiver(t)
	h.start(h.hook(r, deliver.Filter{Level: 1}))
	h.change(detect.OverLimit, "4", true)
	alarms, _ := h.alarms.List("", false)
	if _, err := h.alarms.Acknowledge(t.Context(), alarms[0].ID, alarm.Person{By: "mate"}, ""); err != nil {
		t.Fatal(err)
	}
	h.change(detect.LineParted, "5", true)
	waittest.Until(t, "the escalation", r.has("escalated east-3 5 line-parted"))
	h.change(detect.LineParted, "5", false)
	waittest.Until(t, "its end", r.has("escalated east-3 5 line-parted", "cleared east-3 5 line-parted"))
}

// Quiet hours keep back all but emergencies.
func TestQuietHours(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	quiet, err := deliver.NewQuiet("22:00", "06:30", "America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	o := h.hook(r, deliver.Filter{Quiet: quiet})
	var now atomic.Int64
	o.Now = func() time.Time { return time.Unix(now.Load(), 0) }
	at := func(text string) {
		t.Helper()
		when, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		now.Store(when.Unix())
	}
	h.start(o)
	// New York is at UTC-5 in winter and from 02:00 on 8 March 2026 at UTC-4: the
	// IANA time zone database.
	var want []string
	for i, row := range []struct {
		at   string
		told bool
	}{
		{"2026-03-08T02:59:59Z", true}, {"2026-03-08T03:00:00Z", false}, // 22:00 the evening before
		{"2026-03-08T10:29:00Z", false}, {"2026-03-08T10:30:00Z", true}, // 06:30 in summer time
	} {
		at(row.at)
		h.change(detect.OverLimit, fmt.Sprint(i), true)
		h.change(detect.LineParted, fmt.Sprint(i), true)
		if row.told {
			want = append(want, fmt.Sprintf("raised east-3 %d over-limit", i))
		}
		want = append(want, fmt.Sprintf("raised east-3 %d line-parted", i))
		waittest.Until(t, "what is wanted at "+row.at, r.has(want...))
	}
}

func TestQuietHoursThatCannotBe(t *testing.T) {
	for _, c := range [][4]string{
		{"25:00", "06:00", "", `from: "25:00" is no time of day`}, {"22:00", "6", "", `to: "6" is no time of day`},
		{"22:00", "22:00", "", "both 22:00"}, {"22:00", "06:00", "Nowhere/Land", "zone: unknown time zone"},
	} {
		if _, err := deliver.NewQuiet(c[0], c[1], c[2]); err == nil || !strings.Contains(err.Error(), c[3]) {
			t.Errorf("%v: %v", c, err)
		}
	}
}

// What is raised on a line out of service calls nobody.
func TestWebhookIsNotCalledForWhatIsHeld(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.start(h.hook(r, deliver.Filter{}))
	h.change(detect.OverLimit, "3", true)
	waittest.Until(t, "a beginning", r.has("raised east-3 3 over-limit"))
	line := alarm.Subject{Berth: "east-3", Line: "4"}
	if _, err := h.alarms.TakeOutOfService(t.Context(), line, alarm.Person{By: "engineer"}, "load pin changed"); err != nil {
		t.Fatal(err)
	}
	h.change(detect.OverLimit, "4", true)
	h.change(detect.OverLimit, "5", true)
	waittest.Until(t, "what is not held", r.has("raised east-3 3 over-limit", "out-of-service east-3 4 ", "raised east-3 5 over-limit"))
	if err := h.alarms.EndHold(t.Context(), line, alarm.Person{By: "engineer"}, ""); err != nil {
		t.Fatal(err)
	}
	waittest.Until(t, "the end", r.has("raised east-3 3 over-limit", "out-of-service east-3 4 ", "raised east-3 5 over-limit", "hold-ended east-3 4 "))
	if !strings.Contains(r.last, "/over-limit/4/") || !strings.Contains(r.last, "ACTIVE_UNACKNOWLEDGED") {
		t.Errorf("the end names no alarm: %s", r.last)
	}
}

// A receiver that is away or says so holds later records back until it has the
// earlier ones; one that refuses a record does not.
func TestWebhookTriesUntilTaken(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	r.answer = func(try int, what string) int {
		switch {
		case strings.Contains(what, " 5 "):
			return http.StatusUnprocessableEntity
		case try < 6:
			return []int{503, 429, 401, 404, 307}[try-1]
		}
		return 200
	}
	h.start(h.hook(r, deliver.Filter{}))
	for _, line := range []string{"4", "5", "6"} {
		h.change(detect.OverLimit, line, true)
	}
	waittest.Until(t, "what was not refused", r.has("raised east-3 4 over-limit", "raised east-3 6 over-limit"))
}

// What happens while nobody delivers is delivered by the next that does, and what
// had been is not sent again.
func TestWebhookGoesOnAfterARestart(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	o, registry := h.hook(r, deliver.Filter{}), prometheus.NewRegistry()
	o.Registerer = registry
	stop := h.start(o)
	h.change(detect.OverLimit, "4", true)
	waittest.Until(t, "that the first was taken", func() error { // the answer has come, not only the message gone
		return testutil.GatherAndCompare(registry, strings.NewReader(`
			# HELP hawser_delivery_sent_total Messages a destination has taken.
			# TYPE hawser_delivery_sent_total counter
			hawser_delivery_sent_total{destination="office"} 1
		`), "hawser_delivery_sent_total")
	})
	stop()
	h.change(detect.OverLimit, "4", false)
	h.change(detect.OverLimit, "5", true)
	h.start(h.hook(r, deliver.Filter{}))
	waittest.Until(t, "the rest", r.has("raised east-3 4 over-limit", "cleared east-3 4 over-limit", "raised east-3 5 over-limit"))
	slices.Sort(r.ids)
	if ids := slices.Compact(slices.Clone(r.ids)); len(ids) != 3 {
		t.Errorf("identifiers %q, want three", r.ids)
	}
}

// A new receiver learns what is active, not what is long over.
func TestNewWebhookLearnsWhatIsActive(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	h.change(detect.OverLimit, "4", true)
	h.change(detect.SnapLoad, "7", true)
	h.change(detect.OverLimit, "4", false)
	h.start(h.hook(r, deliver.Filter{}))
	waittest.Until(t, "what is active", r.has("raised east-3 7 snap-load"))
	h.change(detect.SnapLoad, "7", false)
	waittest.Until(t, "what follows", r.has("raised east-3 7 snap-load", "cleared east-3 7 snap-load"))
}

// A storm loses and doubles nothing, even where delivery is stopped in the middle
// again and again: what is sent a second time has the identifier of the first.
func TestStormIsDeliveredWhole(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	const changes = 400
	stop := h.start(h.hook(r, deliver.Filter{}))
	waittest.Until(t, "that it is no new receiver", func() error { // one that is new is not told of what is over
		_, kept, err := positions{h.journal}.LoadPosition(t.Context(), "office")
		return cmp.Or(err, want(kept, true))
	})
	for i := range changes {
		h.change(detect.OverLimit, fmt.Sprint(i/2%10), i%2 == 0)
		if i%100 == 50 {
			stop()
			stop = h.start(h.hook(r, deliver.Filter{}))
		}
	}
	waittest.Until(t, "all of the storm", func() error {
		r.mu.Lock()
		defer r.mu.Unlock()
		seen := map[string]bool{}
		for _, id := range r.ids {
			seen[id] = true
		}
		return want(len(seen), changes)
	})
}

// Those who rely on a destination that hears nothing are told by the others.
func TestUnreachableDestinationIsAnAlarm(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	var open bool
	r.answer = func(int, string) int {
		if open {
			return 200
		}
		return 503
	}
	o := h.hook(r, deliver.Filter{})
	o.FailAfter = 10 * time.Millisecond
	h.start(o)
	h.change(detect.OverLimit, "4", true)
	failing := func() int {
		n := 0
		alarms, _ := h.alarms.List("", false)
		for i := range alarms {
			if alarms[i].Condition == "delivery-failing" && strings.Contains(alarms[i].Detail, "office") {
				n++
			}
		}
		return n
	}
	waittest.Until(t, "the alarm", func() error { return want(failing(), 1) })
	r.mu.Lock()
	open = true
	r.mu.Unlock()
	waittest.Until(t, "its end", func() error { return want(failing(), 0) })
}

func TestOptionsThatCannotBe(t *testing.T) {
	h := newHouse(t)
	hook := func(name, url, secret string) func(*deliver.Options) {
		return func(o *deliver.Options) {
			o.Webhooks = append(o.Webhooks, deliver.Webhook{Name: name, URL: url, Secret: []byte(secret)})
		}
	}
	long := strings.Repeat("s", 32)
	for _, c := range []struct {
		set  func(*deliver.Options)
		want string
	}{
		{func(o *deliver.Options) { o.Log = nil }, "Log"},
		{hook("office", "ftp://there", long), `webhook office: url: "ftp://there": expected http:// or https://HOST`},
		{hook("office", "http://me:word@", long), `"http://me:xxxxx@"`},
		{hook("office", "http://there", "short"), "webhook office: secret of 5 bytes, expected 24 to 64"},
		{func(o *deliver.Options) {
			hook("office", "http://there", long)(o)
			hook("office", "http://elsewhere", long)(o)
		}, `"office": every destination needs a name of its own`},
		{func(o *deliver.Options) { o.Alertmanagers = []deliver.Alertmanager{{Name: "am", URL: "there:9093"}} }, "alertmanager am: url"},
		{func(o *deliver.Options) { o.Brokers = []deliver.Broker{{Name: "b", URL: "http://there"}} }, "broker b: url"},
		{func(o *deliver.Options) {
			o.Brokers = []deliver.Broker{{Name: "b", URL: "mqtt://there", Topic: "a/#"}}
		}, "broker b: topic"},
	} {
		o := h.options()
		c.set(&o)
		if _, err := deliver.New(o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want one with %q", err, c.want)
		}
	}
}
