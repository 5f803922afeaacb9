package access_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access"
	"hawser/services/waittest"
)

func bearer(token string) http.Header { return http.Header{"Authorization": {"Bearer " + token}} }

// What is not a whole, well-formed, known token is refused, and how.
func TestTokens(t *testing.T) {
	token, entry := person("desk", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	client := h.client()
	if resp, body := h.do(client, "GET", "/metrics", "", bearer(token)); resp.StatusCode != http.StatusOK || !strings.Contains(body, "hawser_access_allowed_total") {
		t.Fatalf("good: %d %.200s", resp.StatusCode, body)
	}
	for name, c := range map[string]struct {
		authorization []string
		says          string
	}{
		"none":            {nil, "a token or a device's certificate is needed"},
		"two":             {[]string{"Bearer " + token, "Bearer " + token}, "more than one authorization"},
		"another scheme":  {[]string{"Basic ZGVzazpoYXdzZXI="}, "not a bearer token"},
		"no token":        {[]string{"Bearer"}, "not a bearer token"},
		"only space":      {[]string{"Bearer  "}, "not a bearer token"},
		"unknown":         {[]string{"Bearer " + access.NewToken()}, "the token is not known here"},
		"cut off":         {[]string{"Bearer " + token[:len(token)-1]}, "cut off or changed"},
		"longer":          {[]string{"Bearer " + token + "A"}, "cut off or changed"},
		"a password":      {[]string{"Bearer hawser_secret"}, "cut off or changed"},
		"its hash":        {[]string{"Bearer " + access.HashOf(token).String()}, "the token is not known here"},
		"no issuer known": {[]string{"Bearer eyJhbGciOiJub25lIn0.e30."}, "the token is not known here"},
		"huge":            {[]string{"Bearer " + strings.Repeat("x", 9000)}, "the token is too long"},
	} {
		header := http.Header{}
		if c.authorization != nil {
			header["Authorization"] = c.authorization
		}
		resp, body := h.do(client, "GET", "/metrics", "", header)
		if resp.StatusCode != http.StatusUnauthorized || !strings.Contains(body, c.says) || resp.Header.Get("WWW-Authenticate") != `Bearer realm="hawser"` {
			t.Errorf("%s: %d %q, want 401 that says %q", name, resp.StatusCode, body, c.says)
		}
		md := metadata.MD{"authorization": c.authorization}
		_, err := hawserv1.NewAlarmServiceClient(h.dial(shows{})).ListAlarms(metadata.NewOutgoingContext(within(t), md), &hawserv1.ListAlarmsRequest{})
		wantCode(t, name, err, codes.Unauthenticated, c.says)
	}
	// The scheme's name is in any case (RFC 9110, 11.1).
	if resp, _ := h.do(client, "GET", "/metrics", "", http.Header{"Authorization": {"bearer " + token}}); resp.StatusCode != http.StatusOK {
		t.Errorf("scheme in small letters: %d", resp.StatusCode)
	}
}

// What goes on record is the name that somebody gives and whose token it is, with
// the role and the side of the grant that lets them.
func TestSigned(t *testing.T) {
	token, entry := person("heron-crew", "{role: acknowledge, ship: Heron}")
	both, bothEntry := person("owner", "{role: watch, site: true}, {role: engineer, ship: Heron}, {role: operate, berth: west-1}")
	h := newHouse(t, "people:\n"+entry+bothEntry, nil, nil)
	h.harbour.moor("east-3", "Heron")
	for id, want := range map[string]string{"east-3/2026": "engineer, for the ship true", "west-1/2026": "operate, for the ship false"} {
		resp, err := hawserv1.NewAlarmServiceClient(h.dial(shows{token: both})).AcknowledgeAlarm(within(t), &hawserv1.AcknowledgeAlarmRequest{AlarmId: id})
		if err != nil || resp.Alarm.Note != want {
			t.Errorf("%s: %v, %v, want %s", id, resp, err, want)
		}
	}
	client := hawserv1.NewAlarmServiceClient(h.dial(shows{token: token}))
	for by, want := range map[string]string{" Bosun ": "Bosun (heron-crew)", "heron-crew": "heron-crew", "": "heron-crew", "heron-crew (terminal)": "heron-crew (terminal) (heron-crew)"} {
		resp, err := client.AcknowledgeAlarm(within(t), &hawserv1.AcknowledgeAlarmRequest{AlarmId: "east-3/2026", By: by})
		if err != nil || resp.Alarm.AcknowledgedBy != want || resp.Alarm.Note != "acknowledge, for the ship true" {
			t.Errorf("%q: %v, %v, want %q", by, resp, err, want)
		}
	}
	for id, ok := range map[string]bool{"east-3/2026": true, "east-3/2025": false, "west-1/2026": false, "/2026": false, "nothing": false, "east-3/20x6": false} {
		_, err := client.AcknowledgeAlarm(within(t), &hawserv1.AcknowledgeAlarmRequest{AlarmId: id, By: "Bosun"})
		if (err == nil) != ok {
			t.Errorf("%s: %v", id, err)
		}
		if !ok {
			wantCode(t, id, err, codes.PermissionDenied, "alarm "+id+": heron-crew has not the role acknowledge for it")
		}
	}
	_, err := client.AcknowledgeAlarm(within(t), &hawserv1.AcknowledgeAlarmRequest{By: "Bosun"})
	wantCode(t, "no alarm", err, codes.InvalidArgument, "names no alarm")
}

// Who sends for a ship sends no more when another lies at the berth.
func TestStreamEndsWithTheStay(t *testing.T) {
	token, entry := person("heron-crew", "{role: operate, ship: Heron}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	h.harbour.moor("east-3", "Heron")
	stream, err := hawserv1.NewIntakeServiceClient(h.dial(shows{token: token})).Deliver(within(t))
	must(t, err)
	batch := &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Batch{Batch: []byte{1}}}
	for _, frame := range []*hawserv1.DeliverRequest{{Frame: &hawserv1.DeliverRequest_Hello{Hello: &hawserv1.Hello{Berth: "east-3"}}}, batch} {
		must(t, stream.Send(frame))
		_, err = stream.Recv()
		must(t, err)
	}
	h.harbour.moor("east-3", "Curlew")
	must(t, stream.Send(batch))
	_, err = stream.Recv()
	wantCode(t, "after the stay", err, codes.PermissionDenied, "berth east-3: heron-crew has not the role operate there")
	for _, want := range []string{`"msg":"refused"`, `"msg":"ended"`} {
		waittest.Until(t, want, func() error {
			if !strings.Contains(h.audit.String(), want) {
				return errors.New(h.audit.String())
			}
			return nil
		})
	}
}

// A caller has no more calls open than their share, and others have theirs.
func TestCallsAtOnce(t *testing.T) {
	busy, busyEntry := person("busy", "{role: operate, site: true}")
	calm, calmEntry := person("calm", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+busyEntry+calmEntry, nil, func(o *access.Options) {
		o.Limits = access.Limits{AtOnce: 2}
	})
	ctx, leave := context.WithCancel(within(t))
	for range 2 {
		stream, err := hawserv1.NewAlarmServiceClient(h.dial(shows{token: busy})).WatchAlarms(ctx, &hawserv1.WatchAlarmsRequest{})
		must(t, err)
		_, err = stream.Recv()
		must(t, err)
	}
	_, err := h.list(shows{token: busy}, "")
	wantCode(t, "a third at once", err, codes.ResourceExhausted, "2 calls are open already")
	_, err = h.list(shows{token: calm}, "")
	must(t, err)
	leave()
	waittest.Until(t, "a place to be free", func() error {
		_, err := h.list(shows{token: busy}, "")
		return err
	})
}

// A caller begins no more calls than their share, and others have theirs.
func TestRate(t *testing.T) {
	busy, busyEntry := person("busy", "{role: operate, site: true}")
	calm, calmEntry := person("calm", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+busyEntry+calmEntry, nil, func(o *access.Options) {
		o.Limits = access.Limits{CallsPerSecond: 0.001, Burst: 5}
	})
	for range 5 {
		_, err := h.list(shows{token: busy}, "")
		must(t, err)
	}
	_, err := h.list(shows{token: busy}, "")
	wantCode(t, "the sixth", err, codes.ResourceExhausted, "more than 0.001 calls a second")
	resp, _ := h.do(h.client(), "GET", "/", "", bearer(busy))
	if resp.StatusCode != http.StatusTooManyRequests || resp.Header.Get("Retry-After") == "" {
		t.Errorf("over HTTP: %d, %v", resp.StatusCode, resp.Header)
	}
	_, err = h.list(shows{token: calm}, "")
	must(t, err)
	// Of many refusals the first are written, the rest counted.
	for range 60 {
		_, _ = h.list(shows{token: busy}, "")
	}
	if n := strings.Count(h.audit.String(), `"why":"too-much"`); n < 20 || n > 40 {
		t.Errorf("%d refusals were written of 62", n)
	}
}

// A message or form over the bound is refused; a batch may be larger.
func TestSizes(t *testing.T) {
	token, entry := person("desk", "{role: operate, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	alarms := hawserv1.NewAlarmServiceClient(h.dial(shows{token: token}))
	for size, code := range map[int]codes.Code{60 << 10: codes.OK, 70 << 10: codes.ResourceExhausted} {
		_, err := alarms.AcknowledgeAlarm(within(t), &hawserv1.AcknowledgeAlarmRequest{AlarmId: "east-3/2026", Note: strings.Repeat("x", size)})
		wantCode(t, fmt.Sprint(size), err, code, "")
	}
	for size, code := range map[int]int{10 << 10: http.StatusOK, 20 << 10: http.StatusBadRequest} {
		form := url.Values{"id": {"east-3/2026"}, "note": {strings.Repeat("x", size)}}
		if resp, body := h.do(h.client(), "POST", "/acknowledge", form.Encode(), bearer(token)); resp.StatusCode != code {
			t.Errorf("form of %d bytes: %d %s", size, resp.StatusCode, body)
		}
	}
	stream, err := hawserv1.NewIntakeServiceClient(h.dial(shows{token: token})).Deliver(within(t))
	must(t, err)
	must(t, stream.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: &hawserv1.Hello{Berth: "east-3"}}}))
	must(t, stream.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Batch{Batch: make([]byte, 1<<20)}}))
	for range 2 {
		_, err = stream.Recv()
		must(t, err)
	}
}

// A stream waits for its share of the bytes; one that would wait past the end of
// its token is told so.
func TestBytes(t *testing.T) {
	token, entry := person("desk", "{role: operate, site: true}")
	expires := "    expires: " + time.Now().Add(time.Hour).UTC().Format(time.RFC3339) + "\n"
	h := newHouse(t, "people:\n"+entry+expires, nil, func(o *access.Options) { o.Limits.BytesPerSecond = 1 })
	stream, err := hawserv1.NewIntakeServiceClient(h.dial(shows{token: token})).Deliver(within(t))
	must(t, err)
	must(t, stream.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: &hawserv1.Hello{Berth: "east-3"}}}))
	_, err = stream.Recv()
	must(t, err)
	batch := &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Batch{Batch: make([]byte, 1<<20)}}
	must(t, stream.Send(batch))
	_, err = stream.Recv()
	must(t, err)
	batch.GetFrame().(*hawserv1.DeliverRequest_Batch).Batch = make([]byte, 3<<19)
	_ = stream.Send(batch) // half a megabyte over the 2 MiB at once, at a byte a second: six days
	_, err = stream.Recv()
	wantCode(t, "the second batch", err, codes.ResourceExhausted, "would exceed context deadline")
}

// Every line of the audit log is one JSON object that says who, by which role,
// what, about what, when and with what outcome.
func TestAudit(t *testing.T) {
	token, entry := person("desk", "{role: acknowledge, berth: east-3}")
	h := newHouse(t, "people:\n"+entry+"devices: {ca: ca.crt}\n", nil, nil)
	device := h.ca.device("gateway-e", "hawser://berth/east-3")
	_, err := h.list(shows{token: token}, "east-3")
	must(t, err)
	_, _ = h.list(shows{token: token}, "west-1")
	_, _ = h.list(shows{}, "")
	must(t, h.deliver(shows{device: &device}, &hawserv1.Hello{Berth: "east-3"}))
	h.do(h.client(), "POST", "/acknowledge", url.Values{"id": {"east-3/2026"}}.Encode(), bearer(token))
	var got []string
	waittest.Until(t, "the stream to end", func() error {
		got = nil
		for line := range strings.Lines(h.audit.String()) {
			var e map[string]any
			must(t, json.Unmarshal([]byte(line), &e))
			when, err := time.Parse(time.RFC3339Nano, e["time"].(string))
			if err != nil || time.Since(when) > time.Hour || !strings.HasPrefix(e["from"].(string), "127.0.0.1:") {
				t.Errorf("line %s", line)
			}
			delete(e, "time")
			delete(e, "from")
			rest, err := json.Marshal(e)
			must(t, err)
			got = append(got, string(rest))
		}
		if len(got) < 6 {
			return fmt.Errorf("%d lines", len(got))
		}
		return nil
	})
	want := []string{
		`{"berth":"east-3","code":"OK","kind":"token","msg":"allowed","role":"acknowledge","what":"/hawser.v1.AlarmService/ListAlarms","who":"desk"}`,
		`{"berth":"west-1","kind":"token","msg":"refused","reason":"berth west-1: desk has not the role watch there","what":"/hawser.v1.AlarmService/ListAlarms","who":"desk","why":"not-allowed"}`,
		`{"msg":"refused","reason":"a token or a device's certificate is needed","what":"/hawser.v1.AlarmService/ListAlarms","why":"not-signed-in"}`,
		`{"berth":"east-3","kind":"device","msg":"allowed","role":"device","what":"/hawser.v1.IntakeService/Deliver","who":"gateway-e"}`,
		`{"berth":"east-3","code":"Canceled","kind":"device","msg":"ended","role":"device","what":"/hawser.v1.IntakeService/Deliver","who":"gateway-e"}`,
		`{"alarm":"east-3/2026","code":"200","kind":"token","msg":"allowed","role":"acknowledge","what":"POST /acknowledge","who":"desk"}`,
	}
	for _, line := range want { // the end of the stream may come later than what follows it
		if !strings.Contains(strings.Join(got, "\n"), line) {
			t.Errorf("lacks %s", line)
		}
	}
	if t.Failed() {
		t.Logf("is\n%s", strings.Join(got, "\n"))
	}
}

// full is a disk that takes no more from some time on.
type full struct {
	waittest.Buffer
	now atomic.Bool
}

func (f *full) Write(p []byte) (int, error) {
	if f.now.Load() {
		return 0, syscall.ENOSPC
	}
	return f.Buffer.Write(p)
}

// An audit log that cannot be written is told once and counted, and people work
// on: an alarm must be taken on whatever the disk does.
func TestAuditLogIsFull(t *testing.T) {
	token, entry := person("desk", "{role: acknowledge, site: true}")
	disk := &full{}
	h := newHouse(t, "people:\n"+entry, nil, func(o *access.Options) { o.Audit = disk })
	disk.now.Store(true)
	for range 3 {
		_, err := h.list(shows{token: token}, "")
		must(t, err)
	}
	if n := strings.Count(h.log.String(), "audit log is not written"); n != 1 {
		t.Errorf("told %d times", n)
	}
	disk.now.Store(false)
	_, body := h.do(h.client(), "GET", "/metrics", "", bearer(token))
	if !strings.Contains(body, "\nhawser_access_audit_lost_total 3\n") {
		t.Error("three lost lines are not counted")
	}
	waittest.Until(t, "a line to be written again", func() error {
		if !strings.Contains(disk.String(), "GET /metrics") {
			return errors.New(disk.String())
		}
		return nil
	})
}

// Where nobody has been let in nothing may be seen: a service asked by a road
// that does not go by the guard gives nothing away.
func TestNobodySeesNothing(t *testing.T) {
	_, entry := person("desk", "{role: watch, site: true}")
	h := newHouse(t, "people:\n"+entry, nil, nil)
	if _, ok := h.guard.Sees(t.Context(), "east-3"); ok || h.guard.SeesShip(t.Context(), "east-3", "Heron") || h.guard.Who(t.Context()) != "" {
		t.Error("nobody sees something")
	}
}
