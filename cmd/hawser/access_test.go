package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access/keyring"
	"hawser/services/alarm"
	"hawser/services/waittest"
)

// A recording is sent as a gateway of a trial would, and everything that can be
// wrong with who sends it is told at once.
func TestSendOverTLS(t *testing.T) {
	s := startSecured(t, nil)
	to := s.st.front.GRPCAddr().String()
	north, town := planFile("tanker-12"), planFile("coaster-8")
	path := record(t, "tanker-12", 3, nil)
	out, _ := hawser(t, "send", "--plan", north, "--to", to, "--keys", s.dir, path)
	if !strings.Contains(out, "on the server's disk") {
		t.Errorf("sent: %s", out)
	}

	other := filepath.Join(t.TempDir(), "other")
	if _, err := keyring.Make(keyring.Options{Dir: other, Berths: []string{northBerth}}); err != nil {
		t.Fatal(err)
	}
	clear := startServe(t, t.TempDir())
	in := func(dir, name string) string { return filepath.Join(dir, name) }
	token := func(name string) string {
		file := filepath.Join(t.TempDir(), "token")
		if err := os.WriteFile(file, []byte(s.tokens[name]+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	changed := changedPlan(t, "tanker-12", northShip)
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"in clear": {[]string{"--plan", north}, exitFailed, "speaks TLS: give --ca, and --cert and --key, or --keys"},
		"to a server in clear": {[]string{"--plan", north, "--to", clear.grpc, "--keys", s.dir}, exitFailed,
			"does not speak TLS"},
		"to a server of another authority": {[]string{"--plan", north, "--ca", in(other, "ca.crt"), "--cert", in(s.dir, "device.crt"), "--key", in(s.dir, "device.key")},
			exitFailed, "is not who it should be: tls: failed to verify certificate"},
		"with another authority's certificate": {[]string{"--plan", north, "--ca", in(s.dir, "ca.crt"), "--cert", in(other, "device.crt"), "--key", in(other, "device.key")},
			exitFailed, "does not take the certificate: remote error: tls: unknown certificate authority"},
		"with no certificate": {[]string{"--plan", north, "--ca", in(s.dir, "ca.crt")}, exitFailed, "a token or a device's certificate is needed"},
		"for another berth":   {[]string{"--plan", town, "--keys", s.dir}, exitFailed, "berth town-quay-2: the certificate of device gateway is bound to north-jetty-1"},
		"another plan": {[]string{"--plan", changed, "--replace-plan", "--keys", s.dir}, exitFailed,
			"berth north-jetty-1: device gateway may not replace the mooring plan; that takes a person's token with the role operate"},
		"another plan, by who may not": {[]string{"--plan", changed, "--replace-plan", "--keys", s.dir, "--token-file", token("acknowledge")}, exitFailed,
			"berth north-jetty-1: acknowledge has not the role operate there"},
		"key without certificate": {[]string{"--plan", north, "--ca", in(s.dir, "ca.crt"), "--key", in(s.dir, "device.key")}, exitUsage, "--cert and --key: one needs the other"},
		"keys twice":              {[]string{"--plan", north, "--keys", s.dir, "--ca", in(s.dir, "ca.crt")}, exitUsage, "--keys: stands in place of"},
		"token that is none":      {[]string{"--plan", north, "--keys", s.dir, "--token-file", north}, exitFailed, north + ": a token is one word, and there are "},
		"token in clear":          {[]string{"--plan", north, "--token-file", token("operate")}, exitUsage, "--ca: is needed"},
		"no such keys":            {[]string{"--plan", north, "--keys", in(other, "none")}, exitFailed, "none/ca.crt: no such file"},
		"authority of no use":     {[]string{"--plan", north, "--ca", north}, exitFailed, "tanker-12.yaml: no certificates in PEM"},
		"key of another": {[]string{"--plan", north, "--ca", in(s.dir, "ca.crt"), "--cert", in(s.dir, "device.crt"), "--key", in(other, "device.key")},
			exitFailed, "private key does not match public key"},
	} {
		args := append([]string{"send", "--to", to}, c.args...)
		code, _, errs := hawserCode(t, append(args, path)...)
		if code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit code %d, %s; want %d that says %q", name, code, errs, c.code, c.says)
		}
	}
	// Last, as it is the plan in force from then on.
	hawser(t, "send", "--to", to, "--plan", changed, "--replace-plan", "--keys", s.dir, "--token-file", token("operate"), path)
}

// Where the server has another plan for the berth, what to type is told.
func TestSendUnderAnotherPlan(t *testing.T) {
	t.Parallel()
	s := startServe(t, t.TempDir())
	path := record(t, "tanker-12", 7, nil)
	send := func(plan string, more ...string) (int, string) {
		code, _, errs := hawserCode(t, append([]string{"send", "--plan", plan, "--to", s.grpc, path}, more...)...)
		return code, errs
	}
	other := changedPlan(t, "tanker-12", "Curlew")
	if code, errs := send(planFile("tanker-12")); code != exitOK {
		t.Fatalf("the first plan: exit code %d\n%s", code, errs)
	}
	if code, errs := send(other); code != exitFailed || !strings.Contains(errs, "; --replace-plan puts yours in its place") || strings.Contains(errs, "trying again") {
		t.Errorf("another plan: exit code %d\n%s", code, errs)
	}
	if out, _ := hawser(t, "lines", "--server", "http://"+s.http, "--berth", "elsewhere"); !strings.Contains(out, "now at berth elsewhere; --ship NAME finds one that has left") {
		t.Errorf("lines of another berth: %s", out)
	}
	if code, errs := send(other, "--replace-plan"); code != exitOK {
		t.Errorf("as told: exit code %d\n%s", code, errs)
	}
}

// changedPlan is one of the shared plans with another pretension and ship.
func changedPlan(t *testing.T, name, ship string) string {
	t.Helper()
	_, m, err := planfile.Load(planFile(name))
	if err != nil {
		t.Fatal(err)
	}
	m = proto.CloneOf(m)
	m.Ship.Name = ship
	m.Lines[0].PretensionKn++
	data, err := planfile.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "changed.yaml")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// seen is what somebody is shown, by every road there is.
func (s *secured) seen(name string) (alarms, berths, page string) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), time.Minute)
	defer cancel()
	conn := s.dial(s.tokens[name], false)
	list, err := hawserv1.NewAlarmServiceClient(conn).ListAlarms(ctx, &hawserv1.ListAlarmsRequest{IncludeCleared: true})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, a := range list.Alarms {
		alarms += "[" + a.Berth + " " + a.Condition + "]"
	}
	live, err := hawserv1.NewLiveServiceClient(conn).ListBerths(ctx, &hawserv1.ListBerthsRequest{})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, b := range live.Berths {
		berths += "[" + b.Berth + " " + b.Ship + "]"
	}
	page = s.get(name, "/") + s.get(name, "/api/berths")
	return alarms, berths, page
}

func (s *secured) get(name, path string) string {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodGet, s.url(path), nil)
	if err != nil {
		s.t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+s.tokens[name])
	client := s.browser()
	defer client.CloseIdleConnections()
	resp, err := client.Do(req)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return resp.Status + "\n" + string(body)
}

// A ship sees her own berth for her own stay and nothing else: not the other
// berth, not the server, and when another ship has come, neither of them sees
// what is the other's.
func TestAShipSeesHerOwnStay(t *testing.T) {
	s := startSecured(t, nil)
	const firstCrew, nextCrew = "crew of " + northShip, "crew of Curlew"
	desk := func() string { alarms, _, _ := s.seen("watch"); return alarms }
	if got := desk(); strings.Count(got, "[") != 3 {
		t.Fatalf("the terminal sees %s", got)
	}
	alarms, berths, page := s.seen(firstCrew)
	if alarms != "["+northBerth+" link-slow]" || berths != "["+northBerth+" "+northShip+"]" ||
		!strings.Contains(page, northShip) || strings.Contains(page, townBerth) || strings.Contains(page, townShip) || strings.Contains(page, s.alarm[""]) {
		t.Errorf("the first ship sees alarms %s, berths %s", alarms, berths)
	}
	if alarms, berths, page := s.seen(nextCrew); alarms+berths != "" || strings.Contains(page, northBerth) || strings.Contains(page, townBerth) {
		t.Errorf("a ship at sea sees alarms %s, berths %s", alarms, berths)
	}

	taken, err := hawserv1.NewAlarmServiceClient(s.dial(s.tokens[firstCrew], false)).AcknowledgeAlarm(t.Context(),
		&hawserv1.AcknowledgeAlarmRequest{AlarmId: s.alarm[northBerth], By: "Bosun", Side: hawserv1.AlarmSide_ALARM_SIDE_TERMINAL})
	if err != nil || taken.Alarm.Acknowledgements[0].Side != hawserv1.AlarmSide_ALARM_SIDE_SHIP {
		t.Errorf("the ship acknowledges: %v, %v", taken, err)
	}

	// Both crews keep watching while the ships change.
	records := map[string]<-chan string{firstCrew: s.follow(firstCrew), nextCrew: s.follow(nextCrew)}
	for _, want := range []string{"RAISED", "ACKNOWLEDGED"} {
		if got := <-records[firstCrew]; got != northBerth+" link-slow "+want {
			t.Errorf("the first ship is told %s, want %s", got, want)
		}
	}
	path := record(t, "tanker-12", 2, nil)
	plan := changedPlan(t, "tanker-12", "Curlew")
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte(s.tokens["operate"]), 0o600); err != nil {
		t.Fatal(err)
	}
	before := time.Now()
	hawser(t, "send", "--plan", plan, "--replace-plan", "--to", s.st.front.GRPCAddr().String(), "--keys", s.dir, "--token-file", token, path)
	if err := s.st.alarms.ClearOwn(t.Context(), northBerth, "link-slow"); err != nil { // of the first ship's stay
		t.Fatal(err)
	}
	s.raise(northBerth) // of the next one's
	for told := range records[nextCrew] {
		if strings.HasSuffix(told, "link-slow CLEARED") {
			t.Errorf("the next ship is told how an alarm of the first one ended")
		}
		if strings.HasSuffix(told, "link-slow RAISED") {
			break
		}
	}
	waittest.Until(t, "the next ship to be shown", func() error {
		alarms, berths, page = s.seen(nextCrew)
		if berths != "["+northBerth+" Curlew]" {
			return errString("shown " + berths)
		}
		return nil
	})
	if !strings.Contains(alarms, "["+northBerth+" link-slow]") || strings.Count(alarms, "link-slow") != 1 || strings.Contains(alarms, townBerth) || !strings.Contains(page, "Curlew") {
		t.Errorf("the next ship sees alarms %s, berths %s", alarms, berths)
	}
	if alarms, berths, page := s.seen(firstCrew); alarms+berths != "" || strings.Contains(page, northBerth) {
		t.Errorf("the first ship, gone, sees alarms %s, berths %s", alarms, berths)
	}
	select {
	case told := <-records[firstCrew]:
		t.Errorf("the first ship, gone, is told %s", told)
	default:
	}
	// History was sent with times of last March: the terminal sees it, the ship's
	// begins with her stay.
	question := "/api/history?" + url.Values{"berth": {northBerth}, "channel": {"1/tension"},
		"from": {"2026-01-01T00:00:00Z"}, "to": {before.Add(time.Hour).UTC().Format(time.RFC3339)}}.Encode()
	waittest.Until(t, "the terminal to see history", func() error {
		if got := s.get("watch", question+"&step=24h"); !strings.Contains(got, "time_ms") {
			return errString(got)
		}
		return nil
	})
	if got := s.get(nextCrew, question); got != "200 OK\n[]" {
		t.Errorf("the ship's history: %.200s", got)
	}
	if got := s.get(firstCrew, question); !strings.HasPrefix(got, "403") {
		t.Errorf("the history of a berth that is not hers: %.200s", got)
	}
}

type errString string

func (e errString) Error() string { return string(e) }

// follow watches the alarm log as somebody.
func (s *secured) follow(name string) <-chan string {
	s.t.Helper()
	stream, err := hawserv1.NewAlarmServiceClient(s.dial(s.tokens[name], false)).WatchAlarms(s.t.Context(), &hawserv1.WatchAlarmsRequest{})
	if err != nil {
		s.t.Fatal(err)
	}
	out := make(chan string, 1000)
	go func() { // ends with the stream
		defer close(out)
		for {
			resp, err := stream.Recv()
			if err != nil {
				return
			}
			r := resp.Record
			out <- r.Berth + " " + r.Condition + " " + strings.TrimPrefix(r.Transition.String(), "ALARM_TRANSITION_")
		}
	}()
	return out
}

// Somebody signs in with a browser, takes an alarm on under their name and signs
// out; what another site's page would send is refused.
func TestSignInAndAcknowledge(t *testing.T) {
	s := startSecured(t, nil)
	browser := s.browser()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	browser.Jar = jar
	do := func(method, path string, form url.Values, header http.Header) (*http.Response, string) {
		t.Helper()
		req, err := http.NewRequestWithContext(t.Context(), method, s.url(path), strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for key, values := range header {
			req.Header[key] = values
		}
		resp, err := browser.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		var b bytes.Buffer
		if _, err := b.ReadFrom(resp.Body); err != nil {
			t.Fatal(err)
		}
		return resp, b.String()
	}
	elsewhere := http.Header{"Sec-Fetch-Site": {"cross-site"}, "Origin": {"https://elsewhere.example"}}
	if resp, _ := do("GET", "/?berth="+northBerth, nil, nil); resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/sign-in?to=%2F%3Fberth%3D"+northBerth {
		t.Errorf("before: %d to %q", resp.StatusCode, resp.Header.Get("Location"))
	}
	if resp, page := do("GET", "/sign-in", nil, nil); resp.StatusCode != http.StatusOK || !strings.Contains(page, `action="/sign-in"`) {
		t.Errorf("form: %d %s", resp.StatusCode, page)
	}
	good := url.Values{"token": {s.tokens["acknowledge"]}}
	if resp, page := do("POST", "/sign-in", url.Values{"token": {"swordfish"}}, nil); resp.StatusCode != http.StatusUnauthorized || !strings.Contains(page, "the token is not known here.") {
		t.Errorf("wrong token: %d %s", resp.StatusCode, page)
	}
	if resp, _ := do("POST", "/sign-in", good, elsewhere); resp.StatusCode != http.StatusForbidden || len(resp.Cookies()) > 0 {
		t.Errorf("signed in by another site: %d, %v", resp.StatusCode, resp.Cookies())
	}
	resp, _ := do("POST", "/sign-in", good, nil)
	if resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/" || len(resp.Cookies()) != 1 {
		t.Fatalf("sign in: %d to %q, %v", resp.StatusCode, resp.Header.Get("Location"), resp.Cookies())
	}
	cookie := resp.Cookies()[0].Value
	// Whoever asked for a page is led to it, and to no other server's.
	if _, page := do("GET", "/sign-in?to=%2Fdeck%3Fberth%3D"+northBerth, nil, nil); !strings.Contains(page, `name="to" value="/deck?berth=`+northBerth+`"`) {
		t.Errorf("the form does not know the page that was asked for: %s", page)
	}
	for to, want := range map[string]string{"/deck?berth=" + northBerth: "/deck?berth=" + northBerth, "//elsewhere.example": "/", "https://elsewhere.example/": "/", `/\elsewhere.example`: "/", "deck": "/"} {
		if resp, _ := do("POST", "/sign-in", url.Values{"token": good["token"], "to": {to}}, nil); resp.Header.Get("Location") != want {
			t.Errorf("signed in with %q: led to %q", to, resp.Header.Get("Location"))
		} else if len(resp.Cookies()) == 1 {
			cookie = resp.Cookies()[0].Value
		}
	}
	if _, page := do("GET", "/", nil, nil); !strings.Contains(page, "<span>acknowledge</span> <button class=\"quiet\">Sign out</button>") || !strings.Contains(page, northShip) {
		t.Errorf("page: %s", page)
	}
	// Whose side somebody is on is not theirs to say, and the page does not ask.
	if _, page := do("GET", "/", nil, nil); !strings.Contains(page, `"side":"terminal"`) {
		t.Error("the page is not told the side")
	}
	form := url.Values{"id": {s.alarm[northBerth]}, "by": {"J. Alder"}, "berth": {northBerth}, "side": {"ship"}}
	if resp, _ := do("POST", "/acknowledge", form, elsewhere); resp.StatusCode != http.StatusForbidden {
		t.Errorf("acknowledged by another site: %d", resp.StatusCode)
	}
	if a, _ := s.st.alarms.Find(s.alarm[northBerth]); a.Acknowledged() != nil {
		t.Error("it was acknowledged all the same")
	}
	if resp, page := do("POST", "/acknowledge", form, nil); resp.StatusCode != http.StatusOK {
		t.Errorf("acknowledge: %d %s", resp.StatusCode, page)
	}
	if a, _ := s.st.alarms.Find(s.alarm[northBerth]); a.Acknowledged() == nil ||
		a.Acknowledged().Person != (alarm.Person{By: "J. Alder (acknowledge)", Role: "acknowledge", Side: alarm.Terminal}) {
		t.Errorf("on record: %+v", a.Acknowledgements)
	}
	if resp, _ := do("POST", "/sign-out", nil, elsewhere); resp.StatusCode != http.StatusForbidden {
		t.Errorf("signed out by another site: %d", resp.StatusCode)
	}
	if resp, _ := do("POST", "/sign-out", nil, nil); resp.StatusCode != http.StatusSeeOther || resp.Header.Get("Location") != "/sign-in" {
		t.Errorf("sign out: %d to %q", resp.StatusCode, resp.Header.Get("Location"))
	}
	if resp, _ := do("GET", "/", nil, http.Header{"Cookie": {"__Host-hawser=" + cookie}}); resp.StatusCode != http.StatusSeeOther {
		t.Errorf("the cookie afterwards: %d", resp.StatusCode)
	}

	// All of it is on record, and nothing that would let anybody in.
	log := s.audited()
	for line := range strings.Lines(log) {
		if !json.Valid([]byte(line)) {
			t.Errorf("no JSON: %s", line)
		}
	}
	for _, want := range []string{`"msg":"signed in","who":"acknowledge"`, `"what":"POST /acknowledge","alarm":"` + s.alarm[northBerth], `"msg":"signed out"`, `"msg":"refused"`} {
		if !strings.Contains(log, want) {
			t.Errorf("audit lacks %s:\n%s", want, log)
		}
	}
	for name, secret := range map[string]string{"token": s.tokens["acknowledge"], "cookie": cookie, "wrong token": "swordfish", "any token": "hawser_"} {
		if strings.Contains(log, secret) {
			t.Errorf("the %s is in the audit log", name)
		}
	}
}

// With TLS and access a server listens beyond loopback, and speaks nothing else.
func TestServeBeyondLoopback(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "keys")
	out, _ := hawser(t, "keys", "--berth", northBerth, "--host", "berths.example", dir)
	_, after, found := strings.Cut(out, "watch ")
	if !found {
		t.Fatalf("no token for watch: %s", out)
	}
	token := strings.Fields(after)[1]
	s := startProgramNoWait(t, t.TempDir(), "serve", "--config", filepath.Join(dir, "hawser.yaml"), "--data", t.TempDir(), "--http", "0.0.0.0:0", "--grpc", "0.0.0.0:0")
	_, port, err := net.SplitHostPort(s.http)
	if err != nil {
		t.Fatal(err)
	}
	pool := rootsOf(t, filepath.Join(dir, keyring.CAFile))
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}
	defer transport.CloseIdleConnections()
	client := &http.Client{Transport: transport, Timeout: time.Minute}
	waittest.Until(t, "an answer", func() error {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "https://127.0.0.1:"+port+"/api/berths", nil)
		if err != nil {
			return err
		}
		req.Header.Set("Authorization", "Bearer "+token)
		resp, err := client.Do(req)
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		if resp.StatusCode != http.StatusOK {
			return errString(resp.Status)
		}
		return nil
	})
	resp, err := http.Get("http://127.0.0.1:" + port + "/")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusBadRequest {
		t.Errorf("in clear: %d", resp.StatusCode)
	}
	if _, err := s.stop(); err != nil {
		t.Errorf("stop: %v", err)
	}
	// Standard error has the audit log where no file is named for it.
	if log := s.stderr.String(); !strings.Contains(log, `"who":"watch"`) || strings.Contains(log, token) {
		t.Errorf("standard error: %s", log)
	}
}
