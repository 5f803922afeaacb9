package export_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/parquet-go/parquet-go"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/services/history/export"
)

var start = time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)

// even is a store with a reading of each of some lines every so often, and as many
// points in an answer as it is asked to bound it to.
type even struct {
	lines int
	every time.Duration
	asked func(q store.Query)
}

func (e even) Query(_ context.Context, q store.Query) ([]store.Result, error) {
	from, to, limit, err := q.Normalise()
	if err != nil {
		return nil, err
	}
	if e.asked != nil {
		e.asked(q)
	}
	every := max(int64(e.every), int64(q.Step))
	if n := (to - from) / every * int64(e.lines); n > int64(limit) {
		return nil, fmt.Errorf("%w: %d", store.ErrTooManyPoints, n)
	}
	var results []store.Result
	for line := range e.lines {
		r := store.Result{Channel: reading.Channel{Line: fmt.Sprint(line + 1), Kind: reading.Tension}}
		for t := from; t < to; t += every {
			r.Time, r.Value = append(r.Time, t), append(r.Value, float64(t%1e12)/1e9)
			if q.Step > 0 {
				r.Min, r.Max, r.Std, r.Count = append(r.Min, 1), append(r.Max, 3), append(r.Std, 0.5), append(r.Count, 4)
			}
		}
		results = append(results, r)
	}
	return results, nil
}

// Whatever a store's bound on an answer does to the pieces of a span, each point is
// written once.
func TestEveryPointOnce(t *testing.T) {
	for _, c := range []struct {
		name  string
		s     even
		span  time.Duration
		step  time.Duration
		wants int
	}{
		{"less than a piece", even{lines: 2, every: time.Second}, time.Minute, 0, 2 * 60},
		{"pieces that grow", even{lines: 1, every: 10 * time.Second}, 72 * time.Hour, 0, 72 * 360},
		{"pieces that shrink", even{lines: 200, every: 100 * time.Millisecond}, 2 * time.Minute, 0, 200 * 1200},
		{"steps", even{lines: 12, every: time.Second}, 24 * time.Hour, 10 * time.Second, 12 * 8640},
		{"steps longer than a piece", even{lines: 3, every: time.Second}, 100 * time.Hour, 50 * time.Hour, 3 * 2},
		{"a step that no piece is a multiple of", even{lines: 3, every: time.Second}, 7000 * time.Second, 7 * time.Second, 3 * 1000},
		{"nothing", even{lines: 3, every: time.Second}, 0, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			from := start.Truncate(max(c.step, 1))
			if c.step > 0 {
				from = time.Unix(0, start.UnixNano()/int64(c.step)*int64(c.step)).UTC()
			}
			var out bytes.Buffer
			w, err := export.New(export.CSV, &out, export.Head{Berth: "jetty-1", Step: c.step})
			if err == nil {
				err = export.Copy(t.Context(), c.s, store.Query{Berth: "jetty-1", From: from, To: from.Add(c.span), Step: c.step}, w.Write)
			}
			if err == nil {
				err = w.Close()
			}
			if err != nil {
				t.Fatal(err)
			}
			rows, err := csv.NewReader(&out).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			seen := map[string]bool{}
			for _, row := range rows[1:] {
				key := row[0] + " " + row[2]
				if seen[key] {
					t.Fatalf("%s twice", key)
				}
				seen[key] = true
			}
			if len(seen) != c.wants {
				t.Errorf("%d points, want %d", len(seen), c.wants)
			}
		})
	}
}

// Two million readings take no more memory than their pieces and a row group.
func TestBoundedMemory(t *testing.T) {
	const bound = 64 << 20 // of 2,000,000 rows of over 80 bytes
	for _, format := range []string{export.Parquet, export.Arrow, export.CSV} {
		t.Run(format, func(t *testing.T) {
			live := func() uint64 {
				runtime.GC()
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				return m.HeapAlloc
			}
			before, most, asked := live(), uint64(0), 0
			s := even{lines: 20, every: 100 * time.Millisecond, asked: func(store.Query) {
				if asked++; asked%8 == 0 {
					most = max(most, live())
				}
			}}
			w, err := export.New(format, io.Discard, export.Head{Berth: "jetty-1"})
			if err == nil {
				err = export.Copy(t.Context(), s, store.Query{Berth: "jetty-1", From: start, To: start.Add(10_000 * time.Second)}, w.Write)
			}
			if err == nil {
				err = w.Close()
			}
			if err != nil || most == 0 {
				t.Fatalf("%v after %d questions", err, asked)
			}
			if most > before+bound {
				t.Errorf("%d MiB were in memory", (most-before)>>20)
			}
		})
	}
}

// A file whose end was not written is not taken for a whole one.
func TestUnfinishedFilesAreTold(t *testing.T) {
	for _, format := range []string{export.Parquet, export.Arrow} {
		var out bytes.Buffer
		w, err := export.New(format, &out, export.Head{Berth: "jetty-1"})
		if err != nil {
			t.Fatal(err)
		}
		results, err := (even{lines: 2, every: time.Second}).Query(t.Context(), store.Query{Berth: "jetty-1", From: start, To: start.Add(time.Minute)})
		if err == nil {
			err = w.Write(results)
		}
		if err != nil {
			t.Fatal(err)
		}
		unfinished := bytes.Clone(out.Bytes())
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		whole := bytes.Clone(out.Bytes())
		switch format {
		case export.Parquet:
			if _, err := parquet.OpenFile(bytes.NewReader(unfinished), int64(len(unfinished))); err == nil {
				t.Error("a Parquet file without its end is opened")
			}
			if f, err := parquet.OpenFile(bytes.NewReader(whole), int64(len(whole))); err != nil || f.NumRows() != 120 {
				t.Errorf("a whole Parquet file: %v", err)
			}
		case export.Arrow:
			// The end of a stream is a mark of eight bytes (Arrow columnar format,
			// "IPC streaming format"): continuation, then a length of zero.
			if mark := []byte{0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0}; bytes.HasSuffix(unfinished, mark) || !bytes.HasSuffix(whole, mark) {
				t.Error("the end of an Arrow stream does not tell")
			}
			if r, err := ipc.NewReader(bytes.NewReader(whole)); err != nil || r.Schema().NumFields() != 5 {
				t.Errorf("a whole Arrow stream: %v", err)
			}
		}
	}
}

func TestCSV(t *testing.T) {
	r := store.Result{
		Channel: reading.Channel{Line: "7", Kind: reading.Tension}, Time: []int64{start.UnixNano(), start.UnixNano() + 1},
		Value: []float64{203.4, 0.1}, Min: []float64{1, -2.5}, Max: []float64{3, 1e21}, Std: []float64{0.5, 0}, Count: []int64{4, 1},
	}
	state := store.Result{Channel: reading.Channel{Kind: reading.UnderWatch}, Time: []int64{start.UnixNano()}, Value: []float64{1},
		Min: []float64{1}, Max: []float64{1}, Std: []float64{0}, Count: []int64{1}}
	for step, want := range map[time.Duration][]string{
		0: {"time,berth,channel,unit,value", "2026-03-01T04:00:00Z,jetty-1,7/tension,kN,203.4",
			"2026-03-01T04:00:00.000000001Z,jetty-1,7/tension,kN,0.1", "2026-03-01T04:00:00Z,jetty-1,berth/watch,,1"},
		time.Second: {"time,berth,channel,unit,mean,min,max,std,count", "2026-03-01T04:00:00Z,jetty-1,7/tension,kN,203.4,1,3,0.5,4",
			"2026-03-01T04:00:00.000000001Z,jetty-1,7/tension,kN,0.1,-2.5,1e+21,0,1", "2026-03-01T04:00:00Z,jetty-1,berth/watch,,1,1,1,0,1"},
	} {
		var out strings.Builder
		w, err := export.New(export.CSV, &out, export.Head{Berth: "jetty-1", Step: step})
		if err == nil {
			err = errors.Join(w.Write([]store.Result{r, state}), w.Close())
		}
		if got := strings.Split(strings.TrimSpace(out.String()), "\n"); err != nil || !slices.Equal(got, want) {
			t.Errorf("%v, got\n%q, want\n%q", err, got, want)
		}
	}
}

func TestFormats(t *testing.T) {
	for path, want := range map[string]string{"a.parquet": export.Parquet, "b.ARROW": export.Arrow, "b.arrows": export.Arrow, "c.csv": export.CSV, "d.csv.gz": "", "e": ""} {
		if got := export.FormatOf(path); got != want {
			t.Errorf("%s: %q, want %q", path, got, want)
		}
	}
	if _, err := export.New("xlsx", io.Discard, export.Head{}); err == nil {
		t.Error("a format of no kind is begun")
	}
}
