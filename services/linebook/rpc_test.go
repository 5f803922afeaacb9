package linebook_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/linebook"
)

// crew sees her own ship and nothing else.
type crew string

func (c crew) SeesShip(_ context.Context, _, ship string) bool { return ship == string(c) }
func (c crew) SeesSite(context.Context) bool                   { return c == "" }
func (c crew) Signed(_ context.Context, by string) (string, string, bool) {
	return by + " (crew)", "operate", true
}

// twoShips is Heron at east-1, with a numbered rope on line 2, Tern at east-2, and
// Curlew, who has left.
func twoShips(t *testing.T) *world {
	w := newWorld(aPlan("east-2", "Curlew", mooring.Line{ID: "1"}), aPlan("east-2", "Tern", mooring.Line{ID: "1"}),
		aPlan("east-1", "Heron", mooring.Line{ID: "1"}, rope("2", "R-2")))
	for plan := range 3 {
		w.add(t, plan, series("1", reading.Tension, 1+float64(plan), 1, 100, 400, 100))
	}
	w.add(t, 2, series("2", reading.Tension, 1, 1, 100, 400, 100))
	return w
}

func TestEverybodySeesTheirOwn(t *testing.T) {
	twoShips(t).run(t, func(b *linebook.Book) {
		for _, c := range []struct {
			name   string
			access linebook.Access
			query  linebook.Query
			want   []string
		}{
			{"all, no access control", nil, linebook.Query{}, []string{"Heron 1", "Heron 2", "Tern 1"}},
			{"one berth", nil, linebook.Query{Berth: "east-2"}, []string{"Tern 1"}},
			{"no such berth", nil, linebook.Query{Berth: "west-9"}, nil},
			{"who has left", nil, linebook.Query{Ship: "Curlew"}, []string{"Curlew 1"}},
			{"who was never here", nil, linebook.Query{Ship: "Gannet"}, nil},
			{"a crew asks for all", crew("Heron"), linebook.Query{}, []string{"Heron 1", "Heron 2"}},
			{"a crew asks for another berth", crew("Heron"), linebook.Query{Berth: "east-2"}, nil},
			{"a crew asks for another ship", crew("Heron"), linebook.Query{Ship: "Tern"}, nil},
			{"a crew asks for one that has left", crew("Curlew"), linebook.Query{Ship: "Curlew"}, nil},
			{"the site asks for one that has left", crew(""), linebook.Query{Ship: "Curlew"}, []string{"Curlew 1"}},
		} {
			out, err := b.List(context.Background(), c.access, c.query)
			var got []string
			for _, l := range out.GetLines() {
				got = append(got, l.Ship+" "+l.Line)
			}
			if err != nil || !slices.Equal(got, c.want) {
				t.Errorf("%s: %q, want %q (%v)", c.name, got, c.want, err)
			}
		}
	})
}

func TestRopesAreRecorded(t *testing.T) {
	w := twoShips(t)
	w.run(t, func(b *linebook.Book) {
		s := linebook.NewService(b, crew("Heron"))
		turned, err := s.RecordRope(context.Background(), &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "2", Kind: hawserv1.RopeEventKind_ROPE_EVENT_KIND_END_FOR_ENDED,
			By: "A. Mate", Note: "worn at the fairlead"})
		if err != nil {
			t.Fatal(err)
		}
		l := turned.Line
		if len(l.Events) != 1 || l.Events[0].By != "A. Mate (crew)" || l.Events[0].Role != "operate" || l.Events[0].Cycles != 0 || l.Cycles != 1 || l.Quality.Readings != 3 {
			t.Errorf("turned: %v", l)
		}
		fitted, err := s.RecordRope(context.Background(), &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "1", Kind: hawserv1.RopeEventKind_ROPE_EVENT_KIND_FITTED,
			Rope: "R-7", By: "A. Mate", DoneAt: timestamppb.New(w.now.Add(-time.Hour))})
		if err != nil {
			t.Fatal(err)
		}
		if l := fitted.Line; l.Rope != "R-7" || l.Fitting != 2 || l.Quality.Readings != 0 || l.Stays != 1 || !l.Events[0].DoneAt.AsTime().Equal(w.now.Add(-time.Hour)) {
			t.Errorf("fitted: %v", l)
		}
		for _, c := range []struct {
			name string
			req  *hawserv1.RecordRopeRequest
			code codes.Code
			says string
		}{
			{"berth unknown", &hawserv1.RecordRopeRequest{Berth: "west-9", Line: "1", Kind: 1, By: "A"}, codes.NotFound, "berth west-9"},
			{"line unknown", &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "9", Kind: 1, By: "A"}, codes.NotFound, "berth east-1: line 9"},
			{"the plan says", &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "2", Kind: 1, Rope: "R-8", By: "A"}, codes.FailedPrecondition, "R-2"},
			{"in use elsewhere", &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "1", Kind: 1, Rope: "R-2", By: "A"}, codes.FailedPrecondition, "is line 2"},
			{"tomorrow", &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "1", Kind: 1, By: "A", DoneAt: timestamppb.New(w.now.Add(time.Minute))}, codes.InvalidArgument, "future"},
			{"nobody", &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "1", Kind: 1}, codes.InvalidArgument, "by"},
			{"nothing", &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "1", By: "A"}, codes.InvalidArgument, "kind"},
		} {
			_, err := s.RecordRope(context.Background(), c.req)
			if status.Code(err) != c.code || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s: %v", c.name, err)
			}
		}
		w.ropes.Fault = func() (bool, error) { return false, errDisk }
		if _, err := s.RecordRope(context.Background(), &hawserv1.RecordRopeRequest{Berth: "east-1", Line: "1", Kind: 2, By: "A"}); status.Code(err) != codes.Unavailable {
			t.Errorf("full disk: %v", err)
		}
		w.ropes.Fault = nil
	})
	// After a restart the new rope takes the readings and the old one is on record.
	w.add(t, 2, series("1", reading.Tension, 100, 1, 200, 200))
	all := w.lines(t, linebook.Query{Berth: "east-1", Retired: true})
	if len(all) != 3 || all[0].Rope != "R-7" || all[0].Quality.Readings != 2 || all[1].Events[0].Note != "worn at the fairlead" ||
		all[2].Rope != "" || all[2].InUse || all[2].Quality.Readings != 3 {
		t.Errorf("%v", all)
	}
}

// Told at once by many, everything is on record, also after a restart.
func TestManyTellAtOnce(t *testing.T) {
	w := twoShips(t)
	const many = 20
	w.run(t, func(b *linebook.Book) {
		var g errgroup.Group
		for i := range many {
			g.Go(func() error {
				return b.RecordRope(context.Background(), linebook.Told{Kind: linebook.EndForEnded, Berth: "east-1", Line: "2", By: fmt.Sprint("Mate ", i)})
			})
		}
		if err := g.Wait(); err != nil {
			t.Error(err)
		}
		if got := list(t, b, linebook.Query{Berth: "east-1"})[1].Events; len(got) != many {
			t.Errorf("%d events", len(got))
		}
	})
	w.ropes.Kept = append(w.ropes.Kept, []byte("{")) // damaged: left out
	if got := w.lines(t, linebook.Query{Berth: "east-1"})[1].Events; len(got) != many {
		t.Errorf("%d events after a restart", len(got))
	}
}

func TestLinesByHTTP(t *testing.T) {
	twoShips(t).run(t, func(b *linebook.Book) {
		h := linebook.Handler(b, nil, slog.New(slog.DiscardHandler))
		get := func(query string) (int, string) {
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, httptest.NewRequest("GET", "/api/lines"+query, nil))
			body, err := io.ReadAll(rec.Result().Body)
			return rec.Code, string(body) + strings.Repeat("!", len(errorText(err)))
		}
		code, body := get("?berth=east-2&cells=true")
		var out struct {
			Lines []struct {
				Ship        string
				Line        string
				Cycles      float64
				CyclesAbove []float64 `json:"cycles_above"`
				MBLkN       float64   `json:"mbl_kN"`
				Cells       []struct{ Range, Mean, Cycles float64 }
			}
			Caveats []string
		}
		if err := json.Unmarshal([]byte(body), &out); err != nil || code != 200 {
			t.Fatalf("%d %s: %v", code, body, err)
		}
		if len(out.Lines) != 1 || out.Lines[0].Ship != "Tern" || out.Lines[0].Cycles != 1 || out.Lines[0].CyclesAbove[3] != 1 || len(out.Lines[0].Cells) != 1 || len(out.Caveats) < 3 {
			t.Errorf("%s", body)
		}
		for query, says := range map[string]string{
			"?ships=Tern": "ships: no such parameter", "?berth=a&berth=b": "berth: given 2 times", "?cells=perhaps": `cells: "perhaps"`,
		} {
			if code, body := get(query); code != 400 || !strings.Contains(body, says) {
				t.Errorf("%s: %d %s", query, code, body)
			}
		}
	})
}

func errorText(err error) string {
	if err == nil || errors.Is(err, io.EOF) {
		return ""
	}
	return err.Error()
}
