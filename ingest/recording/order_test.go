package recording_test

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/recording"
)

// The rules of the package comment on small files. Rows are "seconds value",
// of 7/tension; the blocks worked out by hand.
func TestWindows(t *testing.T) {
	for _, c := range []struct{ name, rows, want, stats string }{
		{"one window", "1.2=1 1.4=2", "until 1.4: 7/tension.0 1.2=1 1.4=2", ""},
		{"the end of a window is in the next", "1=1 1.999999999=2 2=3",
			"until 1.999999999: 7/tension.0 1=1 1.999999999=2\nuntil 2: 7/tension.0 2=3", ""},
		{"empty windows give no block", "1=1 5.5=2", "until 1.999999999: 7/tension.0 1=1\nuntil 5.5: 7/tension.0 5.5=2", ""},
		{"put in order", "1=1 2=3 1.5=2 2.2=5 2.1=4", "until 1.999999999: 7/tension.0 1=1 1.5=2\nuntil 2.2: 7/tension.0 2=3 2.1=4 2.2=5", ""},
		{"equal times stay as they came", "1=9 1=1 1=5", "until 1: 7/tension.0 1=9 1=1 1=5", ""},
		{"just within 5 s", "1=1 6.999999999=2 1.5=3",
			"until 1.999999999: 7/tension.0 1=1 1.5=3\nuntil 6.999999999: 7/tension.0 6.999999999=2", ""},
		{"the window closes 5 s past its end", "1=1 7=2 1.5=3",
			"until 1.999999999: 7/tension.0 1=1\nuntil 7: 7/tension.0 1.5=3L 7=2", "late 1"},
		{"the end of closed time is not late", "1=1 7=2 2=3 1.999999999=4",
			"until 1.999999999: 7/tension.0 1=1\nuntil 2.999999999: 7/tension.0 1.999999999=4L 2=3\nuntil 7: 7/tension.0 7=2", "late 1"},
		{"late also where there was no window to give", "1=1 12=2 6=3 7.5=4",
			"until 1.999999999: 7/tension.0 1=1\nuntil 7.999999999: 7/tension.0 6=3L 7.5=4\nuntil 12: 7/tension.0 12=2", "late 1"},
		{"late and bad is bad", "1=1 12=2 1.1=x", "until 1.999999999: 7/tension.0 1=1\nuntil 12: 7/tension.0 1.1=0B 12=2", "bad 1"},
		{"a late row goes with the next block", "1=1 7=2 1.5=3 8=4 13=5",
			"until 1.999999999: 7/tension.0 1=1\nuntil 7.999999999: 7/tension.0 1.5=3L 7=2\nuntil 8.999999999: 7/tension.0 8=4\nuntil 13: 7/tension.0 13=5", "late 1"},
		{"an hour's jump", "1=1 3601=2 3601.5=3", "until 1.999999999: 7/tension.0 1=1\nuntil 3601.5: 7/tension.0 3601=2 3601.5=3", ""},
		{"an hour's jump that the last row makes", "1=1 3601=2", "until 1.999999999: 7/tension.0 1=1\nuntil 3601: 7/tension.0 3601=2", ""},
		{"one row an hour ahead", "1=1 3601=2 1.5=3 2=4",
			"until 1.999999999: 7/tension.0 1=1 1.5=3 3601=2L\nuntil 2: 7/tension.0 2=4", "ahead 1"},
		{"the first row an hour ahead", "3601=1 1=2 1.5=3", "until 1.5: 7/tension.0 1=2 1.5=3 3601=1L", "ahead 1"},
		{"a bad row an hour ahead", "1=1 3601=x 1.5=3", "until 1.5: 7/tension.0 1=1 1.5=3 3601=0B", "bad 1 ahead 1"},
		{"every other row an hour ahead", "1=1 3601=2 1.5=3 3602=4 1.7=5", "until 1.7: 7/tension.0 1=1 1.5=3 1.7=5 3601=2L 3602=4L", "ahead 2"},
		{"two rows an hour ahead are believed", "1=1 3601=2 3601.1=3 2=4 3=5",
			"until 1.999999999: 7/tension.0 1=1\nuntil 3601.1: 7/tension.0 2=4L 3=5L 3601=2 3601.1=3", "late 2"},
		{"a minute ahead is believed", "1=1 61=2 1.5=3", "until 1.999999999: 7/tension.0 1=1\nuntil 61: 7/tension.0 1.5=3L 61=2", "late 1"},
		{"the clock steps back an hour", "3601=1 3602=2 3=3 4=4", "until 3601.999999999: 7/tension.0 3=3L 4=4L 3601=1\nuntil 3602: 7/tension.0 3602=2", "late 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var in strings.Builder
			in.WriteString(top)
			for _, r := range strings.Fields(c.rows) {
				at, v, _ := strings.Cut(r, "=")
				seconds, fraction, _ := strings.Cut(at, ".")
				var n int64
				if _, err := fmt.Sscan(seconds, &n); err != nil {
					t.Fatal(err)
				}
				stamp := time.Unix(n, 0).UTC().Format("2006-01-02T15:04:05")
				if fraction != "" {
					stamp += "." + fraction
				}
				fmt.Fprintf(&in, "%sZ,7/tension,%s\n", stamp, v)
			}
			blocks, s := read(t, strings.NewReader(in.String()), recording.Options{})
			if got := strings.TrimSpace(text(blocks)); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
			stats := ""
			for _, f := range []struct {
				name string
				n    uint64
			}{{"bad", s.Bad}, {"late", s.Late}, {"ahead", s.Ahead}} {
				if f.n > 0 {
					stats += fmt.Sprintf(" %s %d", f.name, f.n)
				}
			}
			if strings.TrimSpace(stats) != c.stats {
				t.Errorf("stats%s, want %s", stats, c.stats)
			}
		})
	}
}

// Rows of equal time stay in the order of the file however many are sorted.
func TestEqualTimesStayInOrder(t *testing.T) {
	var in strings.Builder
	in.WriteString(top)
	for i := range 300 {
		fmt.Fprintf(&in, "%d,7/tension,%d\n", 1000+i*7%3, i)
	}
	blocks, _ := read(t, strings.NewReader(in.String()), recording.Options{})
	s := blocks[0].Series[0]
	for i := 1; i < s.Len(); i++ {
		if s.Time[i] == s.Time[i-1] && s.Value[i] < s.Value[i-1] {
			t.Fatalf("at %d: %v after %v", s.Time[i], s.Value[i], s.Value[i-1])
		}
	}
}

func TestUnknownChannels(t *testing.T) {
	in := top + "1000,7/tension,1\n9000000,7/temperature,1\n1000,\x1b[2J,1\n2000,7/temperature,x\n3000," +
		strings.Repeat("é", 41) + "/tension,1\n3000,\xff/tension,1\n1500,7/tension,2\n"
	blocks, s := read(t, strings.NewReader(in), recording.Options{})
	if got, want := text(blocks), "until 1.5: 7/tension.0 1=1 1.5=2\n"; got != want {
		t.Fatalf("got %swant %s", got, want)
	}
	names := []string{"7/temperature", "\ufffd[2J", strings.Repeat("é", 40) + "…", "\ufffd/tension"}
	if s.Unknown != 5 || s.Rows != 7 || s.Bad != 0 || s.Channels != 1 || !slices.Equal(s.UnknownNames, names) {
		t.Fatalf("%+v", s)
	}
	if s.First != 1e9 || s.Last != 1.5e9 {
		t.Fatalf("first %d, last %d", s.First, s.Last)
	}
}

type entry struct {
	time    int64 // ms
	channel string
	value   string
}

func csvOf(entries []entry) string {
	var out strings.Builder
	out.WriteString(top)
	for _, e := range entries {
		fmt.Fprintf(&out, "%d,%s,%s\n", e.time, e.channel, e.value)
	}
	return out.String()
}

// drawEntries draws rows in time order, no two of a channel at one time, with
// gaps of up to hours.
func drawEntries(t *rapid.T) []entry {
	at := rapid.Int64Range(1, 20_000).Draw(t, "start")
	step := rapid.OneOf(rapid.Int64Range(1, 400), rapid.Int64Range(1, 400), rapid.Int64Range(400, 9_000), rapid.Int64Range(50_000, 9_000_000))
	var entries []entry
	for range rapid.IntRange(0, 60).Draw(t, "times") {
		for _, c := range []string{"7/tension", "10/payout", "wind/speed"} {
			if rapid.Bool().Draw(t, "there") {
				v := rapid.SampledFrom([]string{"1", "2.5", "-0.125", "NaN"}).Draw(t, "value")
				entries = append(entries, entry{at, c, v})
			}
		}
		at += step.Draw(t, "step")
	}
	return entries
}

// Rows put in another order within less than 5 s give the same blocks.
func TestShuffledWithinLateness(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := drawEntries(t)
		shuffled := slices.Clone(entries)
		// Sorting by time plus a delay under 5 s puts no row 5 s behind another.
		delay := map[entry]int64{}
		for _, e := range entries {
			delay[e] = rapid.Int64Range(0, 4_999).Draw(t, "delay")
		}
		slices.SortStableFunc(shuffled, func(a, b entry) int { return int(a.time + delay[a] - b.time - delay[b]) })
		window := time.Duration(rapid.SampledFrom([]int{100, 250, 1000, 7000}).Draw(t, "window")) * time.Millisecond
		want, _ := read(t, strings.NewReader(csvOf(entries)), recording.Options{Window: window})
		got, s := read(t, strings.NewReader(csvOf(shuffled)), recording.Options{Window: window})
		if text(got) != text(want) {
			t.Fatalf("shuffled\n%sin order\n%s", text(got), text(want))
		}
		if s.Late != 0 || s.Ahead != 0 {
			t.Fatalf("%+v", s)
		}
	})
}

// However wildly rows come, each is in one block, and what is not late is sorted
// as if they had come in order.
func TestEveryRowOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := rapid.Permutation(drawEntries(t)).Draw(t, "rows")
		blocks, s := read(t, strings.NewReader(csvOf(entries)), recording.Options{})
		rows := map[string]int{}
		for _, e := range entries {
			v, q := e.value, 0
			if e.value == "NaN" {
				v, q = "0", 1
			}
			rows[fmt.Sprintf("%d %s %s %d", e.time*1e6, e.channel, v, q)]++
		}
		var late uint64
		for _, b := range blocks {
			for i := range b.Series {
				for j, at := range b.Series[i].Time {
					q := b.Series[i].QualityAt(j)
					if q == reading.Late {
						late++
						q = reading.Good
					}
					rows[fmt.Sprintf("%d %v %v %d", at, b.Series[i].Channel, b.Series[i].Value[j], q)]--
				}
			}
		}
		for r, n := range rows {
			if n != 0 {
				t.Fatalf("row %s is given %d times too few", r, n)
			}
		}
		if bad := s.Late + s.Ahead - late; bad > s.Bad { // a bad row far ahead is not marked late
			t.Fatalf("%d marked late, %+v", late, s)
		}
	})
}

// The blocks do not hang on how the bytes arrive.
func TestAnyChunks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := csvOf(drawEntries(t))
		want, _ := read(t, strings.NewReader(in), recording.Options{})
		for _, chunked := range []func(io.Reader) io.Reader{iotest.OneByteReader, iotest.HalfReader, iotest.DataErrReader} {
			got, _ := read(t, chunked(strings.NewReader(in)), recording.Options{})
			if text(got) != text(want) {
				t.Fatalf("in chunks\n%sat once\n%s", text(got), text(want))
			}
		}
	})
}
