package export

import (
	"io"

	"github.com/parquet-go/parquet-go"

	"hawser/ingest/store"
)

// groupRows is how many rows a row group has, which is what is in memory.
const groupRows = 128 << 10

// plainRow is a row of readings as they are.
type plainRow struct {
	Time    int64   `parquet:"time,timestamp(nanosecond),delta"`
	Berth   string  `parquet:"berth,dict"`
	Channel string  `parquet:"channel,dict"`
	Unit    string  `parquet:"unit,dict"`
	Value   float64 `parquet:"value"`
}

// stepRow is a row of a step.
type stepRow struct {
	Time    int64   `parquet:"time,timestamp(nanosecond),delta"`
	Berth   string  `parquet:"berth,dict"`
	Channel string  `parquet:"channel,dict"`
	Unit    string  `parquet:"unit,dict"`
	Mean    float64 `parquet:"mean"`
	Min     float64 `parquet:"min"`
	Max     float64 `parquet:"max"`
	Std     float64 `parquet:"std"`
	Count   int64   `parquet:"count"`
}

// parquetFile writes rows of one of the two forms.
type parquetFile[T any] struct {
	w    *parquet.GenericWriter[T]
	row  func(r *store.Result, i int) T
	rows []T // of one result, used again
}

func newParquet(w io.Writer, h Head) Writer {
	options := []parquet.WriterOption{
		parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(groupRows), parquet.CreatedBy("hawser", "1", ""),
	}
	for _, n := range h.notes() {
		options = append(options, parquet.KeyValueMetadata(n.key, n.value))
	}
	if h.Step == 0 {
		return &parquetFile[plainRow]{w: parquet.NewGenericWriter[plainRow](w, options...), row: func(r *store.Result, i int) plainRow {
			return plainRow{r.Time[i], h.Berth, r.Channel.String(), r.Channel.Kind.Unit(), r.Value[i]}
		}}
	}
	return &parquetFile[stepRow]{w: parquet.NewGenericWriter[stepRow](w, options...), row: func(r *store.Result, i int) stepRow {
		return stepRow{r.Time[i], h.Berth, r.Channel.String(), r.Channel.Kind.Unit(), r.Value[i], r.Min[i], r.Max[i], r.Std[i], r.Count[i]}
	}}
}

func (p *parquetFile[T]) Write(results []store.Result) error {
	for i := range results {
		r := &results[i]
		p.rows = p.rows[:0]
		for j := range r.Time {
			p.rows = append(p.rows, p.row(r, j))
		}
		if _, err := p.w.Write(p.rows); err != nil {
			return err
		}
	}
	return nil
}

func (p *parquetFile[T]) Close() error { return p.w.Close() }
