package watch_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
)

const (
	berth = "north-jetty-1"
	first = "1111111111111111" // the plan the berth is under
	other = "2222222222222222" // and the one that replaces it
)

var begin = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// story is a mooring's loads a second at a time, as a function of time.
type story struct {
	plan  *mooring.Plan
	loads func(line, second int) float64 // kN, NaN for no number
	rng   *rand.Rand
}

// restless has something happen to some line all the time: over its working load
// limit for 15 s, or a load pin that gives no numbers for 20 s.
func restless(plan *mooring.Plan) *story {
	s := &story{plan: plan, rng: rand.New(rand.NewPCG(7, 7))}
	s.loads = func(line, second int) float64 {
		load := 100 + float64((second*7+line*5)%11)/10
		switch at := (second + 37*line) % 144; {
		case at >= 20 && at < 35:
			load += 300 // limit: half the MBL of 660 kN
		case line%2 == 1 && at >= 90 && at < 110:
			load = math.NaN()
		}
		return load
	}
	return s
}

// block is one second of the lines from up to before to.
func (s *story) block(second, from, to int) *reading.Block {
	at := begin.Add(time.Duration(second) * time.Second).UnixNano()
	b := &reading.Block{Sequence: uint64(second + 1), CompleteUntil: at + int64(time.Second) - 1}
	for i := from; i < to; i++ {
		c := reading.Series{Channel: reading.Channel{Line: s.plan.Lines[i].ID, Kind: reading.Tension}, Decimals: 1}
		for k := range 2 {
			v, q := s.loads(i, second), reading.Good
			if math.IsNaN(v) {
				v, q = 0, reading.Bad
			}
			c.Time, c.Value, c.Quality = append(c.Time, at+int64(k)*5e8), append(c.Value, v), append(c.Quality, q)
		}
		b.Series = append(b.Series, c)
	}
	return b
}

func pack(t testing.TB, b *reading.Block) []byte {
	t.Helper()
	data, err := batch.Append(nil, b)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// entries are the story from one second to before another, from two sources, at
// positions that leave room for other berths.
func (s *story) entries(t testing.TB, position uint64, from, to int, plan string) []batch.Entry {
	t.Helper()
	var out []batch.Entry
	half := len(s.plan.Lines) / 2
	for second := from; second < to; second++ {
		for n, source := range []string{"bow", "stern"} {
			position += 1 + s.rng.Uint64N(3)
			out = append(out, batch.Entry{Position: position, Source: source, Plan: plan,
				Data: pack(t, s.block(second, n*half, (n+1)*half)), Stored: begin.Add(time.Duration(second+1) * time.Second)})
		}
	}
	return out
}

// everyOther is the plan with one line of each group, at half the work.
func everyOther(p *mooring.Plan) *mooring.Plan {
	out := *p
	out.Lines = nil
	for i := 0; i < len(p.Lines); i += 2 {
		out.Lines = append(out.Lines, p.Lines[i])
	}
	return &out
}

// eventful is a journal with all that can be in one: two sources, a plan that is
// replaced, batches that cannot be read and columns that were refused.
func eventful(t testing.TB) ([]batch.Entry, plans) {
	t.Helper()
	plan := everyOther(loadPlan(t, "tanker-12"))
	replacement := *plan
	replacement.Ship.Name = "Plover of Aldmouth"
	s := restless(plan)
	entries := s.entries(t, 0, 0, 100, first)
	entries = append(entries, s.entries(t, entries[len(entries)-1].Position, 100, 170, other)...)
	for i := range entries {
		switch {
		case i%50 == 33:
			entries[i].Data = []byte("no batch")
		case i%20 == 7:
			entries[i].Refused = []uint32{2, 99}
		}
	}
	return entries, plans{first: plan, other: &replacement}
}

func describe(e []batch.Entry) string {
	return fmt.Sprintf("%d entries, positions %d to %d", len(e), e[0].Position, e[len(e)-1].Position)
}
