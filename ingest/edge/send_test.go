package edge_test

import (
	"context"
	"errors"
	"io"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/edge"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/services/waittest"
)

func TestSendAll(t *testing.T) {
	const n, lines = 500, 3
	s := anywhere(t)
	o := options()
	var told []edge.Progress
	o.Progress = func(p edge.Progress) { told = append(told, p) }
	sum, err := edge.Send(t.Context(), dial(t, s.addr), recording(n, lines), o)
	must(t, err)
	bytes := s.has(n, lines)
	if sum.Batches != n || sum.Samples != n*lines*10 || sum.Bytes != uint64(bytes) || sum.DurableSequence != n || sum.Skipped+sum.RefusedBatches != 0 {
		t.Errorf("summary is %+v", sum)
	}
	last := told[len(told)-1]
	if last.Batches != n || !last.EventTime.Equal(time.Unix(0, noon+n*second+9*second/10)) {
		t.Errorf("last progress is %+v", last)
	}
	if !told[0].Connected || told[0].Batches != 0 {
		t.Errorf("first progress is %+v", told[0])
	}
}

// What the server has already is passed over.
func TestResume(t *testing.T) {
	s := anywhere(t)
	if _, err := edge.Send(t.Context(), dial(t, s.addr), recording(50, 2), options()); err != nil {
		t.Fatal(err)
	}
	sum, err := edge.Send(t.Context(), dial(t, s.addr), recording(80, 2), options())
	must(t, err)
	if sum.Skipped != 50 || sum.Batches != 30 {
		t.Errorf("skipped %d and sent %d, want 50 and 30", sum.Skipped, sum.Batches)
	}
	s.has(80, 2)
}

// A shift moves every time and the promise, and leaves the source's block alone.
func TestShift(t *testing.T) {
	s := anywhere(t)
	o := options()
	o.Shift = 3 * time.Hour
	var given *reading.Block
	next := recording(1, 2)
	_, err := edge.Send(t.Context(), dial(t, s.addr), func() (*reading.Block, error) {
		b, err := next()
		if err == nil {
			given = b
		}
		return b, err
	}, o)
	must(t, err)
	var decoder batch.Decoder
	got, _, err := decoder.Decode(s.entries()[0].Data)
	must(t, err)
	const shift = 3 * 3600 * second
	if got.CompleteUntil != noon+2*second-1+shift {
		t.Errorf("promise is %d", got.CompleteUntil)
	}
	for l := range got.Series {
		if at := got.Series[l].Time[9]; at != noon+second+9*second/10+shift {
			t.Errorf("line %d: last time is %d", l+1, at)
		}
		if at := given.Series[l].Time[9]; at != noon+second+9*second/10 {
			t.Errorf("line %d: the source's own time became %d", l+1, at)
		}
	}
}

// What the server refuses is counted, kept in words, and not waited for.
func TestRefused(t *testing.T) {
	s := anywhere(t)
	next := recording(4, 3)
	sum, err := edge.Send(t.Context(), dial(t, s.addr), func() (*reading.Block, error) {
		b, err := next()
		if err != nil {
			return nil, err
		}
		switch b.Sequence {
		case 2:
			b.CompleteUntil += 60 * 24 * 3600 * second
		case 3:
			b.Series[1].Channel.Line, b.Series[2].Channel.Line = "77", "78"
		case 4:
			b.CompleteUntil += 60 * 24 * 3600 * second
		}
		return b, nil
	}, options())
	must(t, err)
	if sum.Batches != 2 || sum.RefusedBatches != 2 || sum.RefusedColumns != 2 || sum.DurableSequence != 3 {
		t.Errorf("summary is %+v", sum)
	}
	want := []string{
		"berth jetty-2: source gw: batch 2: complete_until at 2026-04-30T12:00:02.999Z is 720h0m3s ahead of the server's clock",
		`berth jetty-2: source gw: batch 3: columns[1] 77/tension: the plan has no line "77" (the first of 2 columns)`,
		"berth jetty-2: source gw: batch 4: complete_until at 2026-04-30T12:00:04.999Z is 720h0m5s ahead of the server's clock",
	}
	if strings.Join(sum.Refusals, "\n") != strings.Join(want, "\n") {
		t.Errorf("refusals are\n%s\nwant\n%s", strings.Join(sum.Refusals, "\n"), strings.Join(want, "\n"))
	}
}

func TestOdditiesAreSummed(t *testing.T) {
	s := anywhere(t)
	next := recording(3, 1)
	sum, err := edge.Send(t.Context(), dial(t, s.addr), func() (*reading.Block, error) {
		b, err := next()
		if err == nil {
			b.Series[0].Quality = []reading.Quality{0, reading.Bad, 0, 0, 0, 0, 0, 0, 0, 0}
			b.Series[0].Time[5] = b.Series[0].Time[4]
		}
		return b, err
	}, options())
	must(t, err)
	if want := (edge.Oddities{Bad: 3, Duplicate: 3}); sum.Oddities != want {
		t.Errorf("oddities are %+v, want %+v", sum.Oddities, want)
	}
}

// What cannot be mended by trying again ends at once, in the server's words.
func TestPermanentErrors(t *testing.T) {
	s := anywhere(t)
	tests := []struct {
		name   string
		change func(*edge.Options)
		blocks func() (*reading.Block, error)
		code   codes.Code
		text   string
	}{
		{"no plan", func(o *edge.Options) { o.Plan = nil }, recording(1, 1), codes.FailedPrecondition,
			"berth jetty-2: not under any plan; send the mooring plan with the hello"},
		{"bad name", func(o *edge.Options) { o.Source = "gw 1" }, recording(1, 1), codes.InvalidArgument,
			"hello.source: does not match regex pattern `^[A-Za-z0-9_-]{1,64}$`"},
		{"no berth", func(o *edge.Options) { o.Berth = "" }, recording(1, 1), codes.Unknown, "send: berth and source are required"},
		{"sequence falls", nil, func() (*reading.Block, error) { return &reading.Block{Sequence: 5}, nil }, codes.Unknown,
			"block 5 comes after block 5: sequences must rise"},
		{"no batch", nil, func() (*reading.Block, error) {
			return &reading.Block{Sequence: 6, Series: []reading.Series{{Time: []int64{1}, Value: []float64{1}}}}, nil
		}, codes.Unknown, "block 6: series 0 unknown: unknown kind of channel"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			o := options()
			o.Backoff(time.Hour, time.Hour) // a second try would not end
			o.GiveUpAfter = 0
			if test.change != nil {
				test.change(&o)
			}
			_, err := edge.Send(t.Context(), dial(t, s.addr), test.blocks, o)
			if err == nil || err.Error() != test.text {
				t.Errorf("got %v, want %q", err, test.text)
			}
			if got := status.Code(err); got != test.code {
				t.Errorf("code %v, want %v", got, test.code)
			}
		})
	}
}

// An error of the source comes after what it gave before is safe.
func TestSourceFails(t *testing.T) {
	s := anywhere(t)
	next := recording(7, 2)
	torn := errors.New("line 812: unexpected end")
	_, err := edge.Send(t.Context(), dial(t, s.addr), func() (*reading.Block, error) {
		b, err := next()
		if errors.Is(err, io.EOF) {
			return nil, torn
		}
		return b, err
	}, options())
	if !errors.Is(err, torn) || err.Error() != "after block 7: line 812: unexpected end" {
		t.Errorf("got %v", err)
	}
	s.has(7, 2)
}

// gate is a journal of which nothing is told to be on disk until it is opened.
type gate struct {
	intake.Journal
	taken atomic.Int64
	open  chan struct{}
}

func (g *gate) Append(ctx context.Context, e *journal.Entry) (intake.Pending, error) {
	p, err := g.Journal.Append(ctx, e)
	g.taken.Add(1)
	return gated{p, g}, err
}

type gated struct {
	intake.Pending
	gate *gate
}

func (p gated) Wait(ctx context.Context) (journal.Position, error) {
	select {
	case <-p.gate.open:
		return p.Pending.Wait(ctx)
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

// No more is taken from the source than the window holds while the server gives
// no receipts; a cancelled Send ends.
func TestWindowIsBounded(t *testing.T) {
	g := &gate{open: make(chan struct{})}
	s := listen(t, "127.0.0.1:0", t.TempDir(), func(j intake.Journal) intake.Journal { g.Journal = j; return g })
	ctx, cancel := context.WithCancelCause(t.Context())
	o := options()
	o.Window(9)
	taken := make(chan uint64, 100)
	next := recording(100, 2)
	enough := errors.New("seen enough")
	ended := make(chan error, 1)
	go func() {
		_, err := edge.Send(ctx, dial(t, s.addr), func() (*reading.Block, error) {
			b, err := next()
			if err == nil {
				taken <- b.Sequence
			}
			return b, err
		}, o)
		ended <- err
	}()
	waittest.True(t, "9 batches came through", func() bool { return g.taken.Load() == 9 })
	cancel(enough)
	if err := <-ended; !errors.Is(err, enough) {
		t.Errorf("got %v, want %v", err, enough)
	}
	if len(taken) != 9 {
		t.Errorf("%d blocks taken, want 9", len(taken))
	}
	close(g.open)
}
