package history_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"hawser/ingest/batch"
	"hawser/services/history"
	"hawser/services/waittest"
)

// process runs a feed until it has nothing more to do, lets do happen, and stops
// it; closed says whether the store was closed in order.
func process(t *testing.T, j *journal, p *pump, refill, closed bool, log *slog.Logger, do func()) {
	t.Helper()
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	f := history.NewFeed(j, p, log, refill)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- f.Run(ctx) }()
	synctest.Wait()
	if do != nil {
		do()
		synctest.Wait()
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if closed {
		if err := f.Closed(context.Background()); err != nil {
			t.Error(err)
		}
	}
}

// Where a feed begins, by what the last one left behind.
func TestWhereItBegins(t *testing.T) {
	for _, c := range []struct {
		name   string
		mark   string
		refill bool
		after  uint64
		told   string
	}{
		{"never ran", "", false, 0, ""},
		{"clean stop", `{"Position":9000,"Clean":true}`, false, 9000, ""},
		{"clean stop at the end", `{"Position":12000,"Clean":true}`, false, 12000, ""},
		{"unclean stop", `{"Position":9000,"Clean":false}`, false, 4000, ""},
		{"unclean stop near the start", `{"Position":900,"Clean":false}`, false, 0, ""},
		{"clean stop, then the journal lost its end", `{"Position":12100,"Clean":true}`, false, 7000, ""},
		{"unclean stop, then the journal lost its end", `{"Position":12100,"Clean":false}`, false, 7000, ""},
		{"hole in the store", `{"Position":9000,"Clean":true}`, true, 0, "the store is new or has a hole"},
		{"unreadable", `{"Position":`, false, 0, "position of the store not readable"},
	} {
		t.Run(c.name, func(t *testing.T) {
			all := entries(t, 1, 12000)
			synctest.Test(t, func(t *testing.T) {
				j, p, w := newJournal(all...), &pump{}, &waittest.Buffer{}
				j.mark = c.mark
				process(t, j, p, c.refill, false, logger(w), nil)
				if got := p.positions(); !slices.Equal(got, count(c.after+1, 12000)) {
					t.Errorf("given %d entries from after %d, want from after %d", len(got), j.From, c.after)
				}
				if want := fmt.Sprintf(`{"Position":%d,"Clean":false}`, c.after); j.marks[0] != want {
					t.Errorf("while it runs the mark is %s, want %s", j.marks[0], want)
				}
				if c.told == "" && w.String() != "" || !strings.Contains(w.String(), c.told) {
					t.Errorf("told: %s", w)
				}
			})
		})
	}
}

// A clean stop goes on exactly there, also where nothing came in between.
func TestCleanStops(t *testing.T) {
	all := entries(t, 1, 9000)
	synctest.Test(t, func(t *testing.T) {
		j := newJournal(all...)
		for range 3 {
			process(t, j, &pump{}, false, true, nil, nil)
			if j.mark != `{"Position":9000,"Clean":true}` {
				t.Errorf("mark: %s", j.mark)
			}
		}
		if !slices.Equal(j.From, []uint64{0, 9000, 9000}) {
			t.Errorf("began after %d", j.From)
		}
	})
}

// The store was down to the end: what it does not have comes again.
func TestStopWithTheStoreBehind(t *testing.T) {
	all := entries(t, 1, 9000)
	synctest.Test(t, func(t *testing.T) {
		j, p := newJournal(all[:8000]...), &pump{}
		process(t, j, p, false, true, nil, func() {
			p.mu.Lock()
			p.holds = true
			p.mu.Unlock()
			j.Add(all[8000:]...)
		})
		if j.mark != `{"Position":8000,"Clean":true}` {
			t.Errorf("mark: %s", j.mark)
		}
	})
}

// A store that is closed without having been fed leaves the mark alone.
func TestClosedBeforeItBegan(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const kept = `{"Position":9000,"Clean":true}`
		j := newJournal()
		j.mark = kept
		if err := history.NewFeed(j, &pump{}, slog.New(slog.DiscardHandler), true).Closed(t.Context()); err != nil {
			t.Fatal(err)
		}
		j.End = func() (uint64, error) { return 0, errDisk }
		process(t, j, &pump{}, true, true, nil, nil)
		if j.mark != kept {
			t.Errorf("mark: %s", j.mark)
		}
	})
}

// Every entry is offered once, in order: what cannot be read as a position only,
// what was refused without its column.
func TestEveryEntryIsOffered(t *testing.T) {
	all := entries(t, 1, 6)
	all[1].Data = []byte("no batch")
	all[2].Refused = []uint32{0}
	all[5].Data = nil // a batch without a sequence
	synctest.Test(t, func(t *testing.T) {
		j, p, w := newJournal(all...), &pump{}, &waittest.Buffer{}
		j.Again = twice
		process(t, j, p, false, false, logger(w), nil)
		want := []offer{{1, "east-1", 3}, {2, "east-0", -1}, {3, "east-1", 1}, {4, "east-0", 3}, {5, "east-1", 3}, {6, "east-0", -1}}
		if !slices.Equal(p.offers, want) {
			t.Errorf("offered %+v, want %+v", p.offers, want)
		}
		if got := strings.Count(w.String(), "unreadable batch passed over"); got != 2 || !strings.Contains(w.String(), "position=2") {
			t.Errorf("told: %s", w)
		}
	})
}

// twice hands over an entry and the two before it again.
func twice(i int) []int { return []int{max(0, i-2), max(0, i-1), i} }

func TestPositionIsKeptRarely(t *testing.T) {
	all := entries(t, 1, 10_000)
	synctest.Test(t, func(t *testing.T) {
		j := newJournal(all...)
		process(t, j, &pump{}, false, false, nil, nil)
		if want := 1 + 10_000/500; len(j.marks) != want {
			t.Errorf("kept %d times, want %d", len(j.marks), want)
		}
	})
}

// A position that cannot be kept under way does not hold up the feed.
func TestPositionCannotBeKept(t *testing.T) {
	all := entries(t, 1, 2000)
	synctest.Test(t, func(t *testing.T) {
		j, p, w := newJournal(all...), &pump{}, &waittest.Buffer{}
		j.save = func(data string) error {
			if strings.Contains(data, ":0,") {
				return nil
			}
			return errDisk
		}
		began := time.Now()
		process(t, j, p, false, false, logger(w), nil)
		if !slices.Equal(p.positions(), count(1, 2000)) || len(j.From) != 1 || !time.Now().Equal(began) {
			t.Errorf("given %d entries in %d goes", len(p.offers), len(j.From))
		}
		if !strings.Contains(w.String(), "position of the store not kept") {
			t.Errorf("told: %s", w)
		}
	})
}

// Whatever of the journal fails, the feed goes on a second later with the next
// entry, and gives none twice.
func TestJournalFails(t *testing.T) {
	all := entries(t, 1, 20)
	for _, c := range []struct {
		name  string
		spoil func(j *journal, fails func() error)
	}{
		{"its end", func(j *journal, fails func() error) { j.End = func() (uint64, error) { return j.Newest(), fails() } }},
		{"the mark", func(j *journal, fails func() error) { j.load = fails }},
		{"keeping the mark", func(j *journal, fails func() error) { j.save = func(string) error { return fails() } }},
		{"an entry", func(j *journal, fails func() error) {
			j.Before = func(e *batch.Entry) error {
				if e.Position == 11 {
					return fails()
				}
				return nil
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j, p, w := newJournal(all...), &pump{holds: true}, &waittest.Buffer{}
				failures := 0
				c.spoil(j, func() error {
					if failures++; failures <= 3 {
						return errDisk
					}
					return nil
				})
				began := time.Now()
				process(t, j, p, false, false, logger(w), func() { time.Sleep(3 * time.Second) })
				if !slices.Equal(p.positions(), count(1, 20)) {
					t.Errorf("given %d", p.positions())
				}
				if got := strings.Count(w.String(), "feed of the store stopped, starting again"); got != 3 {
					t.Errorf("told %d times in %v: %s", got, time.Since(began), w)
				}
			})
		})
	}
}

// An entry that the pump did not take is offered again.
func TestPumpFails(t *testing.T) {
	all := entries(t, 1, 20)
	synctest.Test(t, func(t *testing.T) {
		j, p := newJournal(all...), &pump{}
		fails := 2
		p.refuse = func(position uint64) error {
			if position == 7 && fails > 0 {
				fails--
				return errDisk
			}
			return nil
		}
		process(t, j, p, false, false, nil, func() { time.Sleep(2 * time.Second) })
		if !slices.Equal(p.positions(), count(1, 20)) {
			t.Errorf("given %d", p.positions())
		}
	})
}

// A server outside comes back without its newest entries while the feed runs, and
// the feed asks again before or after the sources have filled it past its old end.
func TestJournalLosesItsEndUnderWay(t *testing.T) {
	all := entries(t, 1, 9000)
	for _, filled := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			j, p, w := newJournal(all[:8000]...), &pump{}, &waittest.Buffer{}
			var broken error
			j.Before = func(e *batch.Entry) error {
				if e.Position != 8001 || broken != nil {
					return nil
				}
				broken = errDisk
				j.mu.Lock()
				defer j.mu.Unlock()
				j.Entries = slices.Clone(j.Entries[:7900])
				if filled {
					broken = fmt.Errorf("follow: %w", &batch.RolledBackError{Last: 7900})
					j.Entries = all
				}
				return broken
			}
			process(t, j, p, false, true, logger(w), func() {
				j.Add(all[8000:8001]...) // the connection breaks
				time.Sleep(1500 * time.Millisecond)
				if !filled {
					j.Add(all[7900:]...)
				}
			})
			want := append(count(1, 8000), count(2901, 9000)...)
			if !slices.Equal(p.positions(), want) {
				t.Errorf("filled %v: given %d entries, want %d", filled, len(p.offers), len(want))
			}
			if !strings.Contains(w.String(), "journal has lost its end") {
				t.Errorf("told: %s", w)
			}
			// Not a stop to go on from exactly.
			if j.mark != `{"Position":9000,"Clean":false}` {
				t.Errorf("mark: %s", j.mark)
			}
		})
	}
}

// The sources fill the journal again, past where the store had come, before the
// feed begins: it was prepared before they could.
func TestRefilledBeforeItBegins(t *testing.T) {
	all := entries(t, 1, 9000)
	synctest.Test(t, func(t *testing.T) {
		j, p := newJournal(all[:7900]...), &pump{}
		j.mark = `{"Position":8000,"Clean":true}`
		f := history.NewFeed(j, p, slog.New(slog.DiscardHandler), false)
		if err := f.Prepare(t.Context()); err != nil {
			t.Fatal(err)
		}
		j.Add(all[7900:]...)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- f.Run(ctx) }()
		synctest.Wait()
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if got := p.positions(); !slices.Equal(got, count(2901, 9000)) {
			t.Errorf("given %d entries from after %d, want from after 2900", len(got), j.From)
		}
		if j.marks[0] != `{"Position":2900,"Clean":false}` {
			t.Errorf("kept before the journal grew: %s", j.marks[0])
		}
	})
}

// A stop is no error, whenever it comes.
func TestStopBeforeTheStart(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := history.NewFeed(newJournal(), &pump{}, slog.New(slog.DiscardHandler), false).Run(ctx); err != nil {
		t.Error(err)
	}
}
