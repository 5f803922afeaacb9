package front_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/front"
	"hawser/services/waittest"
)

func within(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), deadline)
	t.Cleanup(cancel)
	return ctx
}

func TestAPanicEndsItsCallOnly(t *testing.T) {
	var log waittest.Buffer
	o := options()
	o.Log = slog.New(slog.NewTextHandler(&log, nil))
	o.Services = []front.Registrar{&service{
		list: func(_ context.Context, req *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
			if req.Berth == "bad" {
				panic("secret of the list")
			}
			return &hawserv1.ListAlarmsResponse{Position: 7}, nil
		},
		watch: func(grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]) error { panic("secret of the watch") },
	}}
	o.Routes = page(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/half" {
			io.WriteString(w, "half")
			http.NewResponseController(w).Flush()
		}
		panic("secret of the page")
	})
	r := run(t, o)
	client := hawserv1.NewAlarmServiceClient(r.conn())
	ctx := within(t)

	_, err := client.ListAlarms(ctx, &hawserv1.ListAlarmsRequest{Berth: "bad"})
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "secret") {
		t.Errorf("call: %v", err)
	}
	stream, err := client.WatchAlarms(ctx, &hawserv1.WatchAlarmsRequest{})
	if err == nil {
		_, err = stream.Recv()
	}
	if status.Code(err) != codes.Internal || strings.Contains(err.Error(), "secret") {
		t.Errorf("stream: %v", err)
	}
	if code, body := r.get("/page"); code != http.StatusInternalServerError || strings.Contains(body, "secret") {
		t.Errorf("page: %d %q", code, body)
	}
	if resp, err := http.Get("http://" + r.HTTPAddr().String() + "/half"); err != nil {
		t.Error(err)
	} else {
		if _, err := io.ReadAll(resp.Body); err == nil {
			t.Error("half a page passed for a whole one")
		}
		resp.Body.Close()
	}
	if got, err := client.ListAlarms(ctx, &hawserv1.ListAlarmsRequest{}); err != nil || got.Position != 7 {
		t.Errorf("after the panics: %v, %v", got, err)
	}
	for _, want := range []string{"secret of the list", "secret of the watch", "secret of the page", "AlarmService/ListAlarms", "path=/page"} {
		if !strings.Contains(log.String(), want) {
			t.Errorf("the log does not say %q", want)
		}
	}
	_, metrics := r.get("/metrics")
	for _, want := range []string{
		`hawser_front_panics_total{kind="grpc"} 2`, `hawser_front_panics_total{kind="http"} 2`,
		`hawser_front_grpc_calls_total{code="OK",method="/hawser.v1.AlarmService/ListAlarms"} 1`,
		`hawser_front_grpc_calls_total{code="Internal",method="/hawser.v1.AlarmService/WatchAlarms"} 1`,
	} {
		if !strings.Contains(metrics, want) {
			t.Errorf("metrics lack %s", want)
		}
	}
	http.DefaultClient.CloseIdleConnections()
}

func TestMessagesAreBounded(t *testing.T) {
	o := options()
	o.Services = []front.Registrar{&service{ack: func() (*hawserv1.AcknowledgeAlarmResponse, error) {
		return &hawserv1.AcknowledgeAlarmResponse{}, nil
	}}}
	client := hawserv1.NewAlarmServiceClient(run(t, o).conn())
	for size, want := range map[int]codes.Code{2<<20 - 1000: codes.OK, 2<<20 + 1000: codes.ResourceExhausted} {
		_, err := client.AcknowledgeAlarm(within(t), &hawserv1.AcknowledgeAlarmRequest{Note: strings.Repeat("x", size)})
		if status.Code(err) != want {
			t.Errorf("%d bytes: %v, want %v", size, err, want)
		}
	}
}

func TestHealthAndReflection(t *testing.T) {
	o := options()
	o.Services = []front.Registrar{&service{}}
	r := run(t, o)
	conn, ctx := r.conn(), within(t)
	health := grpc_health_v1.NewHealthClient(conn)
	expect := func(want grpc_health_v1.HealthCheckResponse_ServingStatus) {
		t.Helper()
		for _, name := range []string{"", "hawser.v1.AlarmService"} {
			got, err := health.Check(ctx, &grpc_health_v1.HealthCheckRequest{Service: name})
			if err != nil || got.Status != want {
				t.Errorf("health of %q: %v, %v, want %v", name, got, err, want)
			}
		}
	}
	expect(grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	r.SetReady("")
	expect(grpc_health_v1.HealthCheckResponse_SERVING)
	r.SetReady("store is behind")
	expect(grpc_health_v1.HealthCheckResponse_NOT_SERVING)

	stream, err := reflectionv1.NewServerReflectionClient(conn).ServerReflectionInfo(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	resp, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]bool{}
	for _, s := range resp.GetListServicesResponse().GetService() {
		names[s.Name] = true
	}
	if !names["hawser.v1.AlarmService"] || !names["grpc.health.v1.Health"] {
		t.Errorf("services: %v", names)
	}
	if err := stream.CloseSend(); err != nil {
		t.Error(err)
	}
}

// slow gives a handler that says when it is in and stays until let go.
func slow() (in chan struct{}, letGo chan struct{}, handler func(context.Context) error) {
	in, letGo = make(chan struct{}), make(chan struct{})
	return in, letGo, func(ctx context.Context) error {
		close(in)
		select {
		case <-letGo:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func TestCallsUnderWayMayEnd(t *testing.T) {
	rpcIn, rpcGo, rpc := slow()
	pageIn, pageGo, slowly := slow()
	streamIn, streamGo, stream := slow()
	o := options()
	o.Grace = deadline
	o.OnStop = []func(){func() { close(streamGo) }} // a stream ends when told
	o.Services = []front.Registrar{&service{
		list: func(ctx context.Context, _ *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
			return &hawserv1.ListAlarmsResponse{Position: 7}, rpc(ctx)
		},
		watch: func(s grpc.ServerStreamingServer[hawserv1.WatchAlarmsResponse]) error { return stream(s.Context()) },
	}}
	o.Routes = page(func(w http.ResponseWriter, r *http.Request) {
		if slowly(r.Context()) == nil {
			io.WriteString(w, "whole page")
		}
	})
	r := run(t, o)
	client := hawserv1.NewAlarmServiceClient(r.conn())
	ctx := within(t)

	called, got, streamed := make(chan error, 1), make(chan string, 1), make(chan error, 1)
	go func() {
		_, err := client.ListAlarms(ctx, &hawserv1.ListAlarmsRequest{})
		called <- err
	}()
	go func() {
		_, body := r.get("/slow")
		got <- body
	}()
	go func() {
		s, err := client.WatchAlarms(ctx, &hawserv1.WatchAlarmsRequest{})
		if err == nil {
			_, err = s.Recv()
		}
		streamed <- err
	}()
	<-rpcIn
	<-pageIn
	<-streamIn
	r.cancel()
	if err := <-streamed; err != io.EOF {
		t.Errorf("stream: %v", err)
	}
	close(rpcGo)
	close(pageGo)
	if err := <-called; err != nil {
		t.Errorf("call: %v", err)
	}
	if body := <-got; body != "whole page" {
		t.Errorf("page: %q", body)
	}
	r.stop()
}

func TestWhatDoesNotEndIsCutOff(t *testing.T) {
	rpcIn, _, rpc := slow()
	pageIn, _, slowly := slow()
	o := options()
	o.Grace = 10 * time.Millisecond
	o.Services = []front.Registrar{&service{
		list: func(ctx context.Context, _ *hawserv1.ListAlarmsRequest) (*hawserv1.ListAlarmsResponse, error) {
			return nil, rpc(ctx)
		},
	}}
	o.Routes = page(func(_ http.ResponseWriter, r *http.Request) { slowly(r.Context()) })
	r := run(t, o)
	client := hawserv1.NewAlarmServiceClient(r.conn())
	called, got, ctx := make(chan error, 1), make(chan error, 1), within(t)
	go func() {
		_, err := client.ListAlarms(ctx, &hawserv1.ListAlarmsRequest{})
		called <- err
	}()
	go func() {
		resp, err := http.Get("http://" + r.HTTPAddr().String() + "/slow")
		if err == nil {
			resp.Body.Close()
		}
		got <- err
	}()
	<-rpcIn
	<-pageIn
	r.stop()
	if err := <-called; err == nil {
		t.Error("the call ended well")
	}
	if err := <-got; err == nil {
		t.Error("the page ended well")
	}
	http.DefaultClient.CloseIdleConnections()
}
