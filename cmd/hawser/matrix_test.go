package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	reflectionv1alpha "google.golang.org/grpc/reflection/grpc_reflection_v1alpha"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access"
)

var updateMatrix = flag.Bool("update", false, "write testdata/access.txt anew")

// matrixCaller is one column of the matrix.
type matrixCaller struct {
	name   string
	token  string
	device bool
}

// matrixCall is one row: a call about a berth, or about none.
type matrixCall struct {
	what, berth string
	do          func(c matrixCaller) string // the cell
}

// TestAccessMatrix makes every RPC and every route of a real server with every
// role and compares who was let in with testdata/access.txt, which is to be read:
// yes, no (known, and may not) or who? (not known). The RPCs are those of the
// registry, the routes those of the listener, so one that is added makes a row
// that is not there, and one without a rule keeps the server from starting.
func TestAccessMatrix(t *testing.T) {
	people := map[string]access.Grant{}
	for _, role := range access.Roles() {
		people[role.String()+" at north"] = access.Grant{Role: role, Berth: northBerth}
	}
	s := startSecured(t, people)
	callers := []matrixCaller{{name: "nobody"}, {name: "made-up token", token: access.NewToken()}, {name: "device of north", device: true}}
	for _, role := range access.Roles() {
		callers = append(callers, matrixCaller{name: role.String(), token: s.tokens[role.String()]})
	}
	for _, role := range access.Roles() {
		name := role.String() + " at north"
		callers = append(callers, matrixCaller{name: name, token: s.tokens[name]})
	}
	callers = append(callers,
		matrixCaller{name: "crew at north", token: s.tokens["crew of "+northShip]},
		matrixCaller{name: "crew at town", token: s.tokens["crew of "+townShip]},
		matrixCaller{name: "crew at sea", token: s.tokens["crew of Curlew"]})

	var calls []matrixCall
	for _, m := range rpcs(t) {
		for _, berth := range s.subjects(string(m.Input().Name())) {
			calls = append(calls, matrixCall{what: fullMethod(m), berth: berth, do: func(c matrixCaller) string { return s.callRPC(m, berth, c) }})
		}
	}
	for _, route := range s.st.front.Routes() {
		for _, berth := range s.subjects(route) {
			calls = append(calls, matrixCall{what: route, berth: berth, do: func(c matrixCaller) string { return s.callRoute(route, berth, c) }})
		}
	}

	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "call\tabout")
	for i, c := range callers {
		fmt.Fprintf(w, "\t%c", 'A'+i)
		fmt.Fprintf(&b, "%c  %s\n", 'A'+i, c.name)
	}
	fmt.Fprint(&b, "\n")
	fmt.Fprintln(w)
	for _, call := range calls {
		fmt.Fprintf(w, "%s\t%s", call.what, call.berth)
		for _, c := range callers {
			fmt.Fprintf(w, "\t%s", call.do(c))
		}
		fmt.Fprintln(w)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join("testdata", "access.txt")
	if *updateMatrix {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Split(b.String(), "\n")
	for i, line := range strings.Split(string(want), "\n") {
		if i >= len(got) || got[i] != line {
			t.Fatalf("line %d of %s:\nwant %s\ngot  %s", i+1, path, line, strings.Join(got[min(i, len(got)):min(i+1, len(got))], ""))
		}
	}
	if len(got) != strings.Count(string(want), "\n")+1 {
		t.Errorf("%d lines, want %d", len(got), strings.Count(string(want), "\n")+1)
	}
}

// rpcs are all methods that a hawser server has: the schema's, health, reflection.
func rpcs(t *testing.T) (all []protoreflect.MethodDescriptor) {
	t.Helper()
	// For the registry to have them.
	_, _, _ = grpc_health_v1.File_grpc_health_v1_health_proto, reflectionv1.File_grpc_reflection_v1_reflection_proto, reflectionv1alpha.File_grpc_reflection_v1alpha_reflection_proto
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if pkg := f.Package(); pkg != "hawser.v1" && pkg != "grpc.health.v1" && pkg != "grpc.reflection.v1" && pkg != "grpc.reflection.v1alpha" {
			return true
		}
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				all = append(all, methods.Get(j))
			}
		}
		return true
	})
	slices.SortFunc(all, func(a, b protoreflect.MethodDescriptor) int { return strings.Compare(fullMethod(a), fullMethod(b)) })
	return all
}

func fullMethod(m protoreflect.MethodDescriptor) string {
	return "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
}

// subjects are what a call is made about: "-" for nothing, "all" for no berth in
// particular, "server" for its own, else a berth.
func (s *secured) subjects(what string) []string {
	switch {
	case strings.HasSuffix(what, "DeliverRequest"):
		return []string{northBerth, townBerth, northBerth + " anew"}
	case strings.HasPrefix(what, "AcknowledgeAlarm"), strings.HasPrefix(what, "ShelveAlarm"), strings.HasPrefix(what, "ResetAlarm"), strings.HasPrefix(what, "NoteAlarm"), what == "POST /acknowledge", what == "POST /note", what == "POST /shelve", what == "POST /reset":
		return []string{northBerth, townBerth, "server", "unknown"}
	case strings.HasPrefix(what, "EndHold"), what == "POST /end-hold":
		return []string{northBerth, townBerth, "server"}
	case strings.HasPrefix(what, "TakeOutOfService"), strings.HasPrefix(what, "RecordRope"), what == "POST /out-of-service":
		return []string{northBerth, townBerth}
	case what == "GET /api/history", what == "GET /api/export", what == "GET /api/alarms", what == "GET /api/spectrum", what == "AssessRequest", what == "QueryHistoryRequest", what == "GET /api/assess", what == "PUT /api/plan",
		what == "GET /berth/{berth}", what == "GET /plan/{berth}",
		what == "GET /api/plan", what == "GET /api/plan/text", what == "GET /api/plan/versions":
		return []string{northBerth, townBerth}
	case strings.HasPrefix(what, "ListAlarms"), strings.HasPrefix(what, "WatchAlarms"),
		strings.HasPrefix(what, "ListBerths"), strings.HasPrefix(what, "WatchBerths"),
		strings.HasPrefix(what, "ListLosses"), strings.HasPrefix(what, "ListLines"), what == "GET /api/lines",
		what == "GET /api/losses", what == "POST /api/plan/check",
		what == "GET /{$}", what == "GET /deck", what == "GET /log", what == "GET /lines", what == "GET /live", what == "GET /api/berths":
		return []string{"all", northBerth, townBerth}
	}
	return []string{"-"}
}

// request is a message about a subject.
func (s *secured) request(m protoreflect.MethodDescriptor, about string) proto.Message {
	berth := about
	if about == "all" {
		berth = ""
	}
	switch m.FullName() {
	case "hawser.v1.AssessService.Assess":
		return &hawserv1.AssessRequest{Mooring: &hawserv1.AssessRequest_Berth{Berth: berth}}
	case "hawser.v1.AssessService.ListLosses":
		return &hawserv1.ListLossesRequest{Berth: berth}
	case "hawser.v1.AlarmService.ListAlarms":
		return &hawserv1.ListAlarmsRequest{Berth: berth}
	case "hawser.v1.AlarmService.WatchAlarms":
		return &hawserv1.WatchAlarmsRequest{Berth: berth}
	case "hawser.v1.AlarmService.AcknowledgeAlarm":
		return &hawserv1.AcknowledgeAlarmRequest{AlarmId: s.alarmOf(about), By: "A. Mate"}
	case "hawser.v1.AlarmService.NoteAlarm":
		return &hawserv1.NoteAlarmRequest{AlarmId: s.alarmOf(about), By: "A. Mate"}
	case "hawser.v1.AlarmService.ShelveAlarm":
		return &hawserv1.ShelveAlarmRequest{AlarmId: s.alarmOf(about), By: "A. Mate"}
	case "hawser.v1.AlarmService.ResetAlarm":
		return &hawserv1.ResetAlarmRequest{AlarmId: s.alarmOf(about), By: "A. Mate"}
	case "hawser.v1.AlarmService.TakeOutOfService":
		return &hawserv1.TakeOutOfServiceRequest{Berth: about, Line: "1", By: "A. Mate"}
	case "hawser.v1.AlarmService.EndHold":
		return &hawserv1.EndHoldRequest{Berth: strings.TrimPrefix(about, "server"), Line: "1", By: "A. Mate"}
	case "hawser.v1.LiveService.ListBerths":
		return &hawserv1.ListBerthsRequest{Berth: berth}
	case "hawser.v1.LiveService.WatchBerths":
		return &hawserv1.WatchBerthsRequest{Berth: berth}
	case "hawser.v1.LineService.ListLines":
		return &hawserv1.ListLinesRequest{Berth: berth}
	case "hawser.v1.LineService.RecordRope":
		return &hawserv1.RecordRopeRequest{Berth: about, Line: "1", Kind: hawserv1.RopeEventKind_ROPE_EVENT_KIND_END_FOR_ENDED, By: "A. Mate"}
	case "hawser.v1.HistoryService.QueryHistory":
		return &hawserv1.QueryHistoryRequest{Berth: berth, Channels: []string{"1/tension"}}
	case "hawser.v1.IntakeService.Deliver":
		berth, anew := strings.CutSuffix(about, " anew")
		hello := &hawserv1.Hello{Berth: berth, Source: "matrix", ReplacePlan: anew}
		return &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: hello}}
	}
	return dynamicpb.NewMessage(m.Input())
}

func (s *secured) alarmOf(about string) string {
	switch about {
	case "server":
		return s.alarm[""]
	case "unknown":
		return "elsewhere/link-slow/-/2026-03-01T00:00:00.000Z"
	}
	return s.alarm[about]
}

// callRPC makes a call and tells whether it was let in. A stream that is let in
// may have nothing to say: the audit log tells of it.
func (s *secured) callRPC(m protoreflect.MethodDescriptor, about string, c matrixCaller) string {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), time.Minute)
	defer cancel()
	conn := s.dial(c.token, c.device)
	defer conn.Close()
	before := len(s.audited())
	ended := make(chan error, 1)
	go func() {
		stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true, ClientStreams: true}, fullMethod(m))
		if err == nil {
			err = stream.SendMsg(s.request(m, about))
		}
		if err == nil && !m.IsStreamingClient() {
			err = stream.CloseSend()
		}
		if err == nil || err == io.EOF { // EOF: the reason is in RecvMsg
			err = stream.RecvMsg(dynamicpb.NewMessage(m.Output()))
		}
		ended <- err
	}()
	look := time.NewTicker(5 * time.Millisecond)
	defer look.Stop()
	for {
		select {
		case err := <-ended:
			switch status.Code(err) {
			case codes.Unauthenticated:
				return "who?"
			case codes.PermissionDenied:
				return "no"
			case codes.Unimplemented:
				s.t.Errorf("%s is in the schema and nobody answers it", fullMethod(m))
			}
			return "yes"
		case <-look.C:
			if strings.Contains(s.audited()[before:], `"msg":"allowed"`) {
				cancel()
				<-ended
				return "yes"
			}
		}
	}
}

// callRoute makes a request and tells whether it was let in.
func (s *secured) callRoute(pattern, about string, c matrixCaller) string {
	s.t.Helper()
	method, path, _ := strings.Cut(strings.ReplaceAll(pattern, "{$}", ""), " ")
	query, form := url.Values{}, url.Values{}
	switch {
	case method == http.MethodPost && !strings.HasPrefix(path, "/api/"):
		form.Set("id", s.alarmOf(about))
		form.Set("place", strings.TrimPrefix(about, "server")+"//1/")
		form.Set("by", "A. Mate")
	case strings.Contains(path, "{berth}"):
		path = strings.ReplaceAll(path, "{berth}", about)
	case about != "all" && about != "-":
		query.Set("berth", about)
	}
	req, err := http.NewRequestWithContext(s.t.Context(), method, s.url(path+"?"+query.Encode()), strings.NewReader(form.Encode()))
	if err != nil {
		s.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	client := s.browser()
	defer client.CloseIdleConnections()
	resp, err := client.Do(req)
	if err != nil {
		s.t.Fatalf("%s: %v", pattern, err)
	}
	defer resp.Body.Close()
	switch {
	case resp.StatusCode == http.StatusUnauthorized && path != "/sign-in",
		resp.StatusCode == http.StatusSeeOther && strings.HasPrefix(resp.Header.Get("Location"), "/sign-in") && path != "/sign-out":
		return "who?"
	case resp.StatusCode == http.StatusForbidden:
		return "no"
	}
	return "yes"
}
