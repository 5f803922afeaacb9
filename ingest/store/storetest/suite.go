package storetest

import (
	"context"
	"errors"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Run is the suite. open gives an empty store, closed when the test ends by open's
// own doing.
func Run(t *testing.T, open func(t *testing.T) Rolling) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Rolling)
	}{
		{"every reading comes back bit for bit", testExact},
		{"all kinds of channel", testKinds},
		{"a repeat changes nothing", testRepeat},
		{"out of order", testOrder},
		{"quality", testQuality},
		{"decimals change", testDecimals},
		{"steps", testSteps},
		{"bounds", testBounds},
		{"what to read", testSelection},
		{"bad queries", testBadQueries},
		{"names that cannot be", testNames},
		{"rolls are what their readings are", testRolls},
		{"points for a drawing", testPoints},
		{"cancelled", testCancelled},
		{"closed", testClosed},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, open(t)) })
	}
}

var tension7 = reading.Channel{Line: "7", Kind: reading.Tension}

// at is the time ms milliseconds after Start.
func at(ms int64) int64 { return Start.UnixNano() + ms*int64(time.Millisecond) }

// series makes readings of a channel, a second apart from Start on.
func series(c reading.Channel, decimals int8, values ...float64) reading.Series {
	s := reading.Series{Channel: c, Decimals: decimals}
	for i, v := range values {
		add(&s, at(int64(i)*1000), v)
	}
	return s
}

func block(s ...reading.Series) *reading.Block { return &reading.Block{Sequence: 1, Series: s} }

func mustAppend(t *testing.T, s store.Store, blocks ...*reading.Block) {
	t.Helper()
	for _, b := range blocks {
		if err := s.Append(t.Context(), "jetty-1", b); err != nil {
			t.Fatal(err)
		}
	}
}

// minute is a query of the first minute.
func minute(c reading.Channel) store.Query {
	return store.Query{Berth: "jetty-1", Channel: c, From: Start, To: Start.Add(time.Minute)}
}

func mustQuery(t *testing.T, s store.Store, q store.Query) []store.Result {
	t.Helper()
	r, err := s.Query(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// wantValues fails the test unless the answer is one channel with these values.
func wantValues(t *testing.T, got []store.Result, want ...float64) {
	t.Helper()
	if len(got) != 1 {
		t.Fatalf("%d channels in the answer, want 1", len(got))
	}
	same := func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }
	if !slices.EqualFunc(got[0].Value, want, same) {
		t.Fatalf("values %v, want %v", got[0].Value, want)
	}
	if len(got[0].Time) != len(want) || !slices.IsSorted(got[0].Time) {
		t.Fatalf("times %v are not %d in order", got[0].Time, len(want))
	}
}

// What comes back is what strconv.ParseFloat makes of the text, by IEEE 754.
func testExact(t *testing.T, s Rolling) {
	for line, c := range map[string]struct {
		decimals int8
		text     []string
	}{
		"tenths":     {1, []string{"203.4", "0.1", "0.2", "0.3", "-0.7", "0", "99999.9", "1234567.8"}},
		"hundredths": {2, []string{"0.07", "1.15", "-12.34", "100.01", "0.29"}},
		"millionths": {6, []string{"0.000001", "3.141593", "-2.718282"}},
		"ninths":     {9, []string{"0.123456789", "7.000000001", "1048575.999999999"}},
		"whole":      {0, []string{"1", "0", "1", "9007199254740991"}},
		"none":       {-1, []string{"0.1", "3.141592653589793", "1e-300", "-1.7976931348623157e308", "5e-324"}},
	} {
		var values []float64
		for _, text := range c.text {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			values = append(values, v)
		}
		channel := reading.Channel{Line: line, Kind: reading.Tension}
		mustAppend(t, s, block(series(channel, c.decimals, values...)))
		wantValues(t, mustQuery(t, s, minute(channel)), values...)
	}
}

func testKinds(t *testing.T, s Rolling) {
	var all []reading.Series
	for _, name := range []string{
		"7/tension", "7/payout", "7/brake", "wind/speed", "wind/direction",
		"water/level", "ship/draft-fwd", "ship/draft-aft", "berth/watch",
	} {
		c, err := reading.ParseChannel(name)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, series(c, 1, float64(len(all))+0.5, 1))
	}
	mustAppend(t, s, block(all...))
	for i := range all {
		got := mustQuery(t, s, minute(all[i].Channel))
		wantValues(t, got, all[i].Value...)
		if got[0].Channel != all[i].Channel {
			t.Errorf("asked for %s, got %s", all[i].Channel, got[0].Channel)
		}
	}
}

func testRepeat(t *testing.T, s Rolling) {
	var sent Ledger
	blocks := Blocks(3, 20, 1)
	for _, b := range blocks {
		sent.Note("jetty-1", b)
	}
	mustAppend(t, s, blocks...)
	mustAppend(t, s, blocks[10:]...)
	mustAppend(t, s, blocks...)
	many := make([]store.Entry, 0, 2*len(blocks))
	for range 2 {
		for _, b := range blocks {
			many = append(many, store.Entry{Berth: "jetty-1", Block: b})
		}
	}
	if err := s.AppendMany(t.Context(), many); err != nil {
		t.Fatal(err)
	}
	sent.Check(t, s)
}

func testOrder(t *testing.T, s Rolling) {
	var sent Ledger
	blocks := Blocks(2, 30, 2)
	for i := range blocks {
		// 7 and 30 have no common factor: a walk through all, back and forth.
		b := blocks[i*7%len(blocks)]
		slices.Reverse(b.Series[0].Time)
		slices.Reverse(b.Series[0].Value)
		sent.Note("jetty-1", b)
		mustAppend(t, s, b)
	}
	sent.Check(t, s)
}

func testQuality(t *testing.T, s Rolling) {
	r := series(tension7, 1, 10.5, math.NaN(), 11.5, 0, 12.5)
	r.Quality = []reading.Quality{reading.Good, reading.Bad, reading.Late, reading.Bad, reading.Good}
	mustAppend(t, s, block(r), block(r))
	wantValues(t, mustQuery(t, s, minute(tension7)), 10.5, 11.5, 12.5)
	q := minute(tension7)
	q.Quality = true
	got := mustQuery(t, s, q)
	wantValues(t, got, float64(reading.Bad), float64(reading.Late), float64(reading.Bad))
	if want := []int64{at(1000), at(2000), at(3000)}; !slices.Equal(got[0].Time, want) {
		t.Errorf("times %v, want %v", got[0].Time, want)
	}
	q.Step = time.Minute
	if got := mustQuery(t, s, q); len(got) != 1 || got[0].Count[0] != 3 || got[0].Max[0] != float64(reading.Late) {
		t.Errorf("in one step %+v, want 3 of at most code %d", got, reading.Late)
	}
}

func testDecimals(t *testing.T, s Rolling) {
	later := func(seconds int64, r reading.Series) *reading.Block {
		for i := range r.Time {
			r.Time[i] += seconds * int64(time.Second)
		}
		return block(r)
	}
	mustAppend(t, s,
		later(0, series(tension7, 1, 1.5, 2.5)),
		later(2, series(tension7, 3, 3.125)),
		later(3, series(tension7, -1, math.Pi)),
		later(4, series(tension7, 0, 5)),
		later(5, series(tension7, 6, 6.000001)),
		later(6, series(tension7, 1, 7.5)),
		later(3, series(tension7, -1, math.Pi))) // again
	wantValues(t, mustQuery(t, s, minute(tension7)), 1.5, 2.5, 3.125, math.Pi, 5, 6.000001, 7.5)
	q := minute(tension7)
	q.Step = time.Minute
	got := mustQuery(t, s, q)
	if len(got) != 1 || len(got[0].Time) != 1 {
		t.Fatalf("answer %+v is not one step", got)
	}
	r := got[0]
	// By hand: the sum of the seven is 25.625001 + pi.
	if want := (25.625001 + math.Pi) / 7; r.Count[0] != 7 || r.Min[0] != 1.5 || r.Max[0] != 7.5 || math.Abs(r.Value[0]-want) > 1e-12 {
		t.Errorf("step %+v, want 7 from 1.5 to 7.5 with mean %v", r, want)
	}
}

func testSteps(t *testing.T, s Rolling) {
	var r reading.Series
	r.Channel, r.Decimals = tension7, 1
	for _, p := range []struct {
		ms int64
		v  float64
	}{{0, 0.1}, {400, 0.1}, {999, 0.1}, {1000, 2}, {1500, 4}, {4000, -1.5}, {4001, 1.5}, {5000, 9}} {
		add(&r, at(p.ms), p.v)
	}
	mustAppend(t, s, block(r))
	q := minute(tension7)
	q.Step = time.Second
	// Both ends fall within a step: the answer is for whole steps.
	q.From, q.To = Start.Add(500*time.Millisecond), Start.Add(4200*time.Millisecond)
	got := mustQuery(t, s, q)
	if len(got) != 1 {
		t.Fatalf("%d channels, want 1", len(got))
	}
	// By hand, from the readings above.
	want := store.Result{
		Time:  []int64{at(0), at(1000), at(4000)},
		Value: []float64{0.1, 3, 0}, Min: []float64{0.1, 2, -1.5}, Max: []float64{0.1, 4, 1.5},
		Count: []int64{3, 2, 2},
	}
	near := func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }
	g := got[0]
	if !slices.Equal(g.Time, want.Time) || !slices.EqualFunc(g.Value, want.Value, near) ||
		!slices.Equal(g.Min, want.Min) || !slices.Equal(g.Max, want.Max) || !slices.Equal(g.Count, want.Count) {
		t.Errorf("got  %+v\nwant %+v", g, want)
	}
}

func testBounds(t *testing.T, s Rolling) {
	mustAppend(t, s, block(
		series(tension7, 1, 1, 2, 3, 4, 5),
		series(reading.Channel{Line: "8", Kind: reading.Tension}, 1, 1, 2, 3, 4, 5)))
	for _, c := range []struct {
		name  string
		line  string
		step  time.Duration
		limit int
		ok    bool
	}{
		{"raw, just", "7", 0, 5, true},
		{"raw, one over", "7", 0, 4, false},
		{"raw, two channels, just", "", 0, 10, true},
		{"raw, two channels, one over", "", 0, 9, false},
		{"steps, just", "7", time.Second, 60, true},
		{"steps, more than could be", "7", time.Second, 59, false},
		{"steps, two channels, over", "", time.Minute, 1, false},
	} {
		q := minute(reading.Channel{Line: c.line, Kind: reading.Tension})
		q.Step, q.MaxPoints = c.step, c.limit
		got, err := s.Query(t.Context(), q)
		if c.ok && err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if !c.ok && (!errors.Is(err, store.ErrTooManyPoints) || got != nil) {
			t.Errorf("%s: %d channels and error %v, want too many points", c.name, len(got), err)
		}
	}
	q := minute(tension7)
	q.From, q.To = Start.Add(time.Second), Start.Add(3*time.Second)
	wantValues(t, mustQuery(t, s, q), 2, 3) // from is in, to is not
}

func testSelection(t *testing.T, s Rolling) {
	wind := reading.Channel{Kind: reading.WindSpeed}
	line10 := reading.Channel{Line: "10", Kind: reading.Tension}
	payout := reading.Channel{Line: "7", Kind: reading.Payout}
	mustAppend(t, s, block(
		series(tension7, 1, 1), series(line10, 1, 2), series(payout, 2, 3), series(wind, 1, 4)))
	if err := s.Append(t.Context(), "jetty-2", block(series(tension7, 1, 99))); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		ask  reading.Channel
		want []reading.Channel
	}{
		{"one", tension7, []reading.Channel{tension7}},
		{"a kind on all lines", reading.Channel{Kind: reading.Tension}, []reading.Channel{line10, tension7}},
		{"of the berth", wind, []reading.Channel{wind}},
		{"all", reading.Channel{}, []reading.Channel{line10, payout, tension7, wind}},
		{"none such", reading.Channel{Line: "77", Kind: reading.Tension}, nil},
	} {
		var got []reading.Channel
		for _, r := range mustQuery(t, s, minute(c.ask)) {
			got = append(got, r.Channel)
			if len(r.Value) != 1 || r.Value[0] == 99 {
				t.Errorf("%s: %s: values %v", c.name, r.Channel, r.Value)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: channels %v, want %v", c.name, got, c.want)
		}
	}
}

func testBadQueries(t *testing.T, s Rolling) {
	for name, spoil := range map[string]func(*store.Query){
		"no berth":             func(q *store.Query) { q.Berth = "" },
		"control character":    func(q *store.Query) { q.Berth = "a\nb" },
		"line of no line":      func(q *store.Query) { q.Channel.Kind = reading.WindSpeed },
		"backwards":            func(q *store.Query) { q.To = q.From },
		"no time":              func(q *store.Query) { q.From = time.Time{} },
		"step back":            func(q *store.Query) { q.Step = -time.Second },
		"step under a millis.": func(q *store.Query) { q.Step = time.Microsecond },
		"bound under none":     func(q *store.Query) { q.MaxPoints = -1 },
		"two points":           func(q *store.Query) { q.Points = 2 },
		"points and a step":    func(q *store.Query) { q.Points, q.Step = 10, time.Second },
	} {
		q := minute(tension7)
		spoil(&q)
		if _, err := s.Query(t.Context(), q); !errors.Is(err, store.ErrBadQuery) {
			t.Errorf("%s: error %v, want a bad query", name, err)
		}
	}
}

func testNames(t *testing.T, s Rolling) {
	long := string(make([]byte, 100))
	err := s.Append(t.Context(), "jetty-1", block(
		series(reading.Channel{Line: "", Kind: reading.Tension}, 1, 1, 2),
		series(tension7, 1, 5),
		series(reading.Channel{Kind: reading.Unknown}, 1, 1),
		series(reading.Channel{Line: long, Kind: reading.Brake}, 1, 1)))
	wantRefused(t, err, store.Unnamed, 4)
	wantRefused(t, s.Append(t.Context(), "", block(series(tension7, 1, 5))), store.Unnamed, 1)
	wantValues(t, mustQuery(t, s, minute(tension7)), 5)
	odd := reading.Channel{Line: `a "b",c=d ${e}`, Kind: reading.Tension}
	mustAppend(t, s, block(series(odd, 1, 6)))
	wantValues(t, mustQuery(t, s, minute(odd)), 6)
}

func wantRefused(t *testing.T, err error, reason store.Reason, n int) {
	t.Helper()
	refused, ok := errors.AsType[*store.Refused](err)
	if !ok || refused.Count[reason] != n || refused.Total() != n || refused.First == "" {
		t.Errorf("error %v, want %d %s and the place of the first", err, n, reason)
	}
}

func testCancelled(t *testing.T, s Rolling) {
	mustAppend(t, s, block(series(tension7, 1, 1)))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Append(ctx, "jetty-1", block(series(tension7, 1, 1, 2))); !errors.Is(err, context.Canceled) {
		t.Errorf("append: %v", err)
	}
	if _, err := s.Query(ctx, minute(tension7)); !errors.Is(err, context.Canceled) {
		t.Errorf("query: %v", err)
	}
	mustAppend(t, s, block(series(tension7, 1, 1, 2)))
	wantValues(t, mustQuery(t, s, minute(tension7)), 1, 2)
}

func testClosed(t *testing.T, s Rolling) {
	for range 2 {
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Append(t.Context(), "jetty-1", block(series(tension7, 1, 1))); !errors.Is(err, store.ErrClosed) {
		t.Errorf("append: %v", err)
	}
	if _, err := s.Query(t.Context(), minute(tension7)); !errors.Is(err, store.ErrClosed) {
		t.Errorf("query: %v", err)
	}
}
