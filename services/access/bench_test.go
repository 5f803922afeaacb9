package access_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access"
)

// What letting one call in costs, by how many people the access file has.
func BenchmarkUnary(b *testing.B) {
	for _, people := range []int{1, 100, 1000} {
		b.Run(fmt.Sprintf("people=%d", people), func(b *testing.B) {
			var file strings.Builder
			file.WriteString("people:\n")
			var token string
			for i := range people {
				var entry string
				token, entry = person(fmt.Sprintf("p%d", i), "{role: watch, berth: east-3}")
				file.WriteString(entry)
			}
			guard := openGuard(b, file.String())
			ctx := metadata.NewIncomingContext(b.Context(), metadata.Pairs("authorization", "Bearer "+token))
			info := &grpc.UnaryServerInfo{FullMethod: "/hawser.v1.AlarmService/ListAlarms"}
			called := 0
			handler := func(context.Context, any) (any, error) { called++; return nil, nil }
			req := &hawserv1.ListAlarmsRequest{Berth: "east-3"}
			for b.Loop() {
				if _, err := guard.Unary(ctx, req, info, handler); err != nil {
					b.Fatal(err)
				}
			}
			if called == 0 {
				b.Fatal("never let in")
			}
		})
	}
}

// What it costs to look whether somebody might do a deed, as is done for each deed of
// each alarm that a page shows.
func BenchmarkMay(b *testing.B) {
	token, entry := person("p", "{role: acknowledge, berth: east-3}")
	guard := openGuard(b, "people:\n"+entry)
	form := url.Values{"id": {"7"}, "place": {"east-3//4//"}}
	looked := 0
	look := func(_ http.ResponseWriter, r *http.Request) {
		for b.Loop() {
			guard.May(r.Context(), "POST /acknowledge", form)
			looked++
		}
	}
	h, err := guard.Route("GET /{$}", http.HandlerFunc(look))
	if err != nil {
		b.Fatal(err)
	}
	r := httptest.NewRequestWithContext(b.Context(), http.MethodGet, "/", nil)
	r.Header.Set("Authorization", "Bearer "+token)
	h.ServeHTTP(httptest.NewRecorder(), r)
	if looked == 0 {
		b.Fatal("never let in")
	}
}

// openGuard opens a guard whose callers may call as often as they like.
func openGuard(tb testing.TB, file string) *access.Guard {
	tb.Helper()
	o := write(tb, file)
	o.Limits = access.Limits{CallsPerSecond: 1e9, Burst: 1e9}
	guard, err := access.New(o)
	if err != nil {
		tb.Fatal(err)
	}
	return guard
}
