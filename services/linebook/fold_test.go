package linebook_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/services/linebook"
)

// rope is a line of a numbered rope.
func rope(id, number string) mooring.Line { return mooring.Line{ID: id, Rope: number} }

// story is a journal of visits, plans replaced, ropes fitted and turned, late and bad
// readings, and alarms, drawn by lot.
func story(t *testing.T, seed uint64, length int) *world {
	t.Helper()
	w := newWorld(
		aPlan("east-1", "Heron", mooring.Line{ID: "1"}, mooring.Line{ID: "2"}),
		aPlan("east-1", "Curlew", mooring.Line{ID: "1"}, mooring.Line{ID: "2"}),
		aPlan("east-2", "Heron", rope("1", "R-1"), rope("2", "R-2")),
		aPlan("east-2", "Heron", rope("1", "R-2"), rope("2", "R-3")), // R-2 has gone to the other line
		aPlan("east-2", "Tern", mooring.Line{ID: "2"}),
	)
	r := rand.New(rand.NewPCG(seed, 9))
	now, at := 1.0, [2]int{0, 4}
	for range length {
		berth := r.IntN(2)
		if r.IntN(25) == 0 {
			at[berth] = [2][]int{{0, 1}, {2, 3, 4}}[berth][r.IntN(2+berth)]
		}
		from := now
		if r.IntN(10) == 0 {
			from -= 5
		}
		var all []reading.Series
		for _, line := range w.plans[fmt.Sprintf("plan-%d", at[berth])].Lines {
			loads := make([]float64, 10)
			for i := range loads {
				loads[i] = 300 + 250*r.Float64()
			}
			s := series(line.ID, reading.Tension, from, 1, loads...)
			if r.IntN(5) == 0 {
				s.Quality = make([]reading.Quality, 10)
				s.Quality[r.IntN(10)] = reading.Quality(r.IntN(3))
			}
			all = append(all, s, series(line.ID, reading.Payout, from, 5, r.Float64(), r.Float64()), series(line.ID, reading.Brake, from, 5, 1, float64(r.IntN(2))))
		}
		plan := at[berth]
		if r.IntN(40) == 0 {
			plan = 9 // lost
		}
		w.add(t, plan, all...)
		now += 10
		journal := uint64(len(w.entries))
		if r.IntN(8) == 0 {
			w.alarms = append(w.alarms, linebook.Event{Position: uint64(len(w.alarms) + 1), Berth: w.entries[journal-1].Berth,
				Line: []string{"1", "2"}[r.IntN(2)], Condition: []string{"brake-slip", "snap-load", "sensor-fault", "wind"}[r.IntN(4)],
				Raised: r.IntN(2) == 0, Time: time.Unix(0, start+int64(now*1e9)), Journal: journal})
		}
		if r.IntN(30) == 0 {
			w.told(t, 1+r.IntN(2), w.plans[fmt.Sprintf("plan-%d", at[0])].Ship.Name, "1", []string{"", "R-9"}[r.IntN(2)], journal)
		}
	}
	return w
}

// told puts an entry in the log of ropes as if it had been told at a position.
func (w *world) told(t *testing.T, kind int, ship, line, rope string, at uint64) {
	t.Helper()
	data, err := json.Marshal(map[string]any{"form": 1, "kind": kind, "ship": ship, "berth": "east-1", "line": line, "rope": rope,
		"done": w.now, "recorded": w.now, "by": "A. Mate", "at": at})
	if err != nil {
		t.Fatal(err)
	}
	w.ropes.Kept = append(w.ropes.Kept, data)
}

// fresh is the same world with nothing kept.
func (w *world) fresh() *world {
	c := newWorld()
	c.entries, c.alarms, c.plans, c.ropes.Kept = w.entries, w.alarms, w.plans, w.ropes.Kept
	return c
}

// The same journal gives the same records, byte for byte, in one go and however often
// the book is stopped, in order or not, and begun again.
func TestSameBytesHoweverChopped(t *testing.T) {
	for seed := range uint64(6) {
		whole := story(t, seed, 300)
		whole.run(t, nil)
		want := whole.newest(t)
		if strings.Count(want, "\n") != 3 || !strings.Contains(want, "R-3") || !strings.Contains(want, `"kind":1`) {
			t.Fatalf("seed %d: too little in %s", seed, want)
		}
		chopped := whole.fresh()
		r := rand.New(rand.NewPCG(seed, 10))
		for range 25 {
			entries, alarms, ropes := chopped.entries, chopped.alarms, chopped.ropes.Kept
			end := uint64(r.IntN(len(entries) + 1))
			if n := chopped.kept(); n > end {
				end = n
			}
			// The world as it was when the journal was that long.
			chopped.entries = entries[:end]
			chopped.alarms = alarms[:slices.IndexFunc(append(slices.Clone(alarms), linebook.Event{Journal: 1 << 60}), func(e linebook.Event) bool { return e.Journal > end })]
			chopped.ropes.Kept = nil
			for _, data := range ropes {
				var e struct{ At uint64 }
				if err := json.Unmarshal(data, &e); err != nil {
					t.Fatal(err)
				}
				if e.At <= end {
					chopped.ropes.Kept = append(chopped.ropes.Kept, data)
				}
			}
			chopped.every = time.Duration(r.IntN(2)) * time.Hour // with every entry, or never but at the end
			if r.IntN(2) == 0 {                                  // killed: the end is not kept, or not all of it
				left := r.IntN(40)
				chopped.put = func(string) error {
					if left--; left < 0 {
						return errDisk
					}
					return nil
				}
			}
			chopped.run(t, nil)
			chopped.entries, chopped.alarms, chopped.ropes.Kept, chopped.put = entries, alarms, ropes, nil
		}
		chopped.run(t, nil)
		if got := chopped.newest(t); got != want {
			t.Fatalf("seed %d: chopped and in one go %s", seed, differ(got, want))
		}
	}
}

// A journal that lost its end takes the records back with it, and what comes in its
// place counts as if nothing else had ever been there.
func TestJournalLosesItsEnd(t *testing.T) {
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 11))
		w := story(t, 100+seed, 200)
		other := story(t, 200+seed, 300)
		w.alarms, other.alarms, w.ropes.Kept, other.ropes.Kept = nil, nil, nil, nil
		w.every = time.Nanosecond // kept at each entry: two places a ship are the last two
		w.run(t, nil)
		lost := uint64(1)
		cut := uint64(len(w.entries)) - lost
		w.entries = w.entries[:cut:cut]
		w.every = time.Duration(r.IntN(2)) * time.Hour
		w.run(t, nil) // notices before anything is added
		w.entries = append(w.entries, other.entries[cut:]...)
		w.run(t, nil)
		want := w.fresh()
		want.run(t, nil)
		if got, want := w.newest(t), want.newest(t); got != want {
			t.Fatalf("seed %d: got and want %s", seed, differ(got, want))
		}
	}
}

// More lost than both places are apart: the record is kept and said to be in doubt.
func TestJournalLosesMore(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	for i := range 20 {
		w.add(t, 0, series("1", reading.Tension, 1+10*float64(i), 1, 100, 400))
	}
	w.every = time.Nanosecond
	w.run(t, nil)
	w.entries = w.entries[:5:5]
	b := w.open(t) // and killed at once
	if b.Position() > 5 {
		t.Errorf("at %d of 5", b.Position())
	}
	w.run(t, nil)
	w.add(t, 0, series("1", reading.Tension, 1000, 1, 100, 400))
	got := w.lines(t, linebook.Query{})
	if len(got) != 1 || !got[0].Quality.Uncertain || got[0].Quality.Readings != 40 {
		t.Errorf("%v", got)
	}
}

// A ship that came after the last mark and was written before the next, which was
// not: when the journal loses her coming, her document goes with it.
func TestShipWrittenAndLost(t *testing.T) {
	heron, tern := aPlan("east-1", "Heron", mooring.Line{ID: "1"}), aPlan("east-2", "Tern", mooring.Line{ID: "1"})
	w := newWorld(heron, tern)
	w.add(t, 0, series("1", reading.Tension, 1, 1, 100, 400))
	w.run(t, nil)
	w.add(t, 1, series("1", reading.Tension, 10, 1, 100, 800, 100, 800))
	w.add(t, 1, series("1", reading.Tension, 20, 1, 100, 800))
	w.put = func(key string) error {
		if strings.HasPrefix(key, "mark") {
			return errDisk
		}
		return nil
	}
	w.run(t, nil)
	w.put, w.entries = nil, w.entries[:1:1]
	w.run(t, nil)
	w.add(t, 1, series("1", reading.Tension, 10, 1, 300, 400))
	w.add(t, 1, series("1", reading.Tension, 20, 1, 300, 400))
	w.add(t, 0, series("1", reading.Tension, 20, 1, 300, 400))
	w.run(t, nil)
	fresh := w.fresh()
	fresh.run(t, nil)
	if got, want := w.newest(t), fresh.newest(t); got != want {
		t.Errorf("got and want %s", differ(got, want))
	}
}

// A berth where ship followed ship: read from the beginning again each finds the
// alarms of her own stay, however many came after her.
func TestAlarmsOfLongAgo(t *testing.T) {
	const ships = 40
	var all []*mooring.Plan
	for i := range ships {
		all = append(all, aPlan("east-1", fmt.Sprintf("Ship %d", i), mooring.Line{ID: "1"}))
	}
	w := newWorld(all...)
	for i := range ships {
		w.add(t, i, series("1", reading.Tension, 1+1000*float64(i), 1, 100, 400))
		w.alarms = append(w.alarms, linebook.Event{Position: uint64(i + 1), Berth: "east-1", Line: "1", Condition: "snap-load", Raised: true,
			Time: time.Unix(0, start+int64(i)*1000*second), Journal: uint64(i + 1)})
	}
	w.run(t, func(b *linebook.Book) {
		for i := range ships {
			l := list(t, b, linebook.Query{Ship: fmt.Sprintf("Ship %d", i)})
			if len(l) != 1 || l[0].SnapLoads != 1 {
				t.Fatalf("ship %d: %v", i, l)
			}
		}
	})
}

// An alarm log that does not give its last records, as they cannot be read, holds the
// records up once and no more.
func TestAlarmLogGivesLess(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	for i := range 100 { // a minute is too short for 5 s each
		w.add(t, 0, series("1", reading.Tension, 1+10*float64(i), 1, 100, 400))
	}
	w.alarmsMissing = 3
	got := w.lines(t, linebook.Query{})
	if len(got) != 1 || got[0].Quality.Readings != 200 {
		t.Errorf("%v", got)
	}
}

// An alarm that is told after another rope was fitted is the old rope's.
func TestAlarmAfterTheRopeWasFitted(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	w.add(t, 0, series("1", reading.Tension, 1, 1, 100, 400))
	w.told(t, linebook.Fitted, "Heron", "1", "R-9", 1)
	w.add(t, 0, series("1", reading.Tension, 10, 1, 100, 400))
	w.run(t, nil)
	for i, journal := range []uint64{1, 2, 2} {
		w.alarms = append(w.alarms, linebook.Event{Position: uint64(i + 1), Berth: "east-1", Line: "1", Condition: "brake-slip", Raised: true, Time: time.Unix(0, start), Journal: journal})
	}
	got := w.lines(t, linebook.Query{Retired: true})
	if len(got) != 2 || got[0].Rope != "R-9" || got[0].Slips != 2 || got[1].Rope != "" || got[1].Slips != 1 {
		t.Errorf("%v", got)
	}
}

// Lines that a ship leaves behind when she shifts are out of use, whatever they were
// at the berth before.
func TestShiftedToAnotherBerth(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}, mooring.Line{ID: "2"}), aPlan("east-2", "Heron", mooring.Line{ID: "1"}),
		aPlan("east-1", "Tern", mooring.Line{ID: "1"}))
	w.add(t, 0, series("1", reading.Tension, 1, 1, 100, 400), series("2", reading.Tension, 1, 1, 100, 400))
	w.add(t, 2, series("1", reading.Tension, 5, 1, 100, 400))
	w.add(t, 1, series("1", reading.Tension, 10, 1, 100, 400))
	got := w.lines(t, linebook.Query{Ship: "Heron", Retired: true})
	if len(got) != 2 || got[0].Berth != "east-2" || !got[0].InUse || got[0].Stays != 2 || got[1].Line != "2" || got[1].InUse || got[1].Stays != 1 {
		t.Errorf("%v", got)
	}
}

// A disk that fails now and then loses nothing.
func TestDocumentsFail(t *testing.T) {
	whole := story(t, 3, 200)
	whole.run(t, nil)
	w := whole.fresh()
	w.every = time.Nanosecond
	n := 0
	w.put = func(string) error {
		if n++; n%7 == 0 {
			return errDisk
		}
		return nil
	}
	w.run(t, nil)
	w.put = nil
	w.run(t, nil)
	if got, want := w.newest(t), whole.newest(t); got != want {
		t.Errorf("got and want %s", differ(got, want))
	}
}

// A rope that the plan numbers has one record on whatever line it is; what is missing
// from the journal is told.
func TestWhoseRecordItIs(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", rope("1", "R-1"), rope("2", "R-2")), aPlan("east-1", "Heron", rope("1", "R-2"), rope("2", "R-3")))
	w.add(t, 0, series("1", reading.Tension, 1, 1, 100, 100), series("2", reading.Tension, 1, 1, 200, 200))
	w.add(t, 7, series("1", reading.Tension, 3, 1, 900)) // nobody knows its plan
	w.add(t, 1, series("1", reading.Tension, 5, 1, 300, 300), series("2", reading.Tension, 5, 1, 400))
	w.run(t, func(b *linebook.Book) {
		out, err := b.List(context.Background(), nil, linebook.Query{Berth: "east-1", Retired: true})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, l := range out.Lines {
			got = append(got, fmt.Sprintf("%s on %s: %g readings, in use %t", l.Rope, l.Line, l.Quality.Readings, l.InUse))
		}
		want := []string{"R-2 on 1: 4 readings, in use true", "R-3 on 2: 1 readings, in use true", "R-1 on 1: 2 readings, in use false"}
		if !slices.Equal(got, want) || out.BatchesMissed != 1 || out.Position != 3 || len(out.Caveats) == 0 {
			t.Errorf("%q, want %q; %g missed to %g", got, want, out.BatchesMissed, out.Position)
		}
	})
}

// A damaged document costs its ship what came since the one before, and says so; it
// stops nobody.
func TestDamagedDocuments(t *testing.T) {
	load := func(i int) reading.Series { return series("1", reading.Tension, 1+100*float64(i), 1, 100, 400) }
	for _, spoil := range []struct {
		name     string
		suffix   string
		readings float64
		doubt    bool
	}{
		{"the one before the newest", "_a", 8, true}, {"the newest of a ship", "_b", 6, true}, {"the mark", "mark_a", 8, false}, {"all of a ship", "_", 2, true}, {"begun", "begun", 8, false},
	} {
		w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
		for i := range 3 {
			w.add(t, 0, load(i))
			w.run(t, nil) // kept: places b, a, b
		}
		w.add(t, 0, load(3))
		for key, doc := range w.docs {
			ofShip := !strings.Contains(key, "mark") && !strings.Contains(key, "begun")
			if spoil.suffix == "_" && ofShip || strings.HasSuffix(key, spoil.suffix) && (ofShip || len(spoil.suffix) > 2) {
				w.docs[key] = doc[:len(doc)/2]
			}
		}
		got := w.lines(t, linebook.Query{})
		if len(got) != 1 || got[0].Quality.Readings != spoil.readings || got[0].Quality.Uncertain != spoil.doubt {
			t.Errorf("%s: %v", spoil.name, got)
		}
	}
}

// Whatever a ship's document holds: records that take readings, or new ones.
func FuzzDocument(f *testing.F) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	w.add(f, 0, series("1", reading.Tension, 1, 1, 100, 400, 100))
	book := w.open(f)
	if err := book.Take(f.Context(), &w.entries[0]); err != nil {
		f.Fatal(err)
	}
	book.Keep(f.Context())
	for key, doc := range w.docs {
		if !strings.Contains(key, "mark") && !strings.Contains(key, "begun") {
			f.Add(doc)
		}
	}
	w.add(f, 0, series("1", reading.Tension, 10, 1, 100, 400, 100))
	f.Fuzz(func(t *testing.T, doc []byte) {
		again := w.fresh()
		for key, old := range w.docs {
			if again.docs[key] = old; len(old) > 0 && !strings.Contains(key, "mark") && !strings.Contains(key, "begun") {
				again.docs[key] = doc
			}
		}
		b, err := again.book(t)
		if err != nil {
			t.Fatal(err)
		}
		if err := b.Prepare(t.Context()); err != nil {
			if !strings.Contains(err.Error(), "form") {
				t.Fatal(err)
			}
			return
		}
		if err := b.Take(t.Context(), &again.entries[1]); err != nil {
			t.Fatal(err)
		}
		if out, err := b.List(context.Background(), nil, linebook.Query{}); err != nil || len(out.Lines) != 1 {
			t.Fatalf("%v, %v", out, err)
		}
	})
}

// A document of another version is refused, with its name.
func TestOtherVersionIsRefused(t *testing.T) {
	w := newWorld(aPlan("east-1", "Heron", mooring.Line{ID: "1"}))
	w.add(t, 0, series("1", reading.Tension, 1, 1, 100, 400))
	w.run(t, nil)
	for key, doc := range w.docs {
		w.docs[key] = []byte(strings.Replace(string(doc), `"form":1`, `"form":2`, 1))
	}
	b, err := w.book(t)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Prepare(t.Context()); err == nil || !strings.Contains(err.Error(), "version") {
		t.Errorf("%v", err)
	}
}
