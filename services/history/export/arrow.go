package export

import (
	"io"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/apache/arrow-go/v18/arrow/memory"

	"hawser/ingest/store"
)

// arrowStream writes a record batch for each result.
type arrowStream struct {
	w       *ipc.Writer
	build   *array.RecordBuilder
	berth   string
	stepped bool
}

func newArrow(w io.Writer, h Head) Writer {
	fields := []arrow.Field{
		{Name: "time", Type: &arrow.TimestampType{Unit: arrow.Nanosecond, TimeZone: "UTC"}},
		{Name: "berth", Type: arrow.BinaryTypes.String},
		{Name: "channel", Type: arrow.BinaryTypes.String},
		{Name: "unit", Type: arrow.BinaryTypes.String},
	}
	if h.Step == 0 {
		fields = append(fields, arrow.Field{Name: "value", Type: arrow.PrimitiveTypes.Float64})
	} else {
		for _, name := range []string{"mean", "min", "max", "std"} {
			fields = append(fields, arrow.Field{Name: name, Type: arrow.PrimitiveTypes.Float64})
		}
		fields = append(fields, arrow.Field{Name: "count", Type: arrow.PrimitiveTypes.Int64})
	}
	var keys, values []string
	for _, n := range h.notes() {
		keys, values = append(keys, n.key), append(values, n.value)
	}
	notes := arrow.NewMetadata(keys, values)
	schema := arrow.NewSchema(fields, &notes)
	return &arrowStream{
		w: ipc.NewWriter(w, ipc.WithSchema(schema)), build: array.NewRecordBuilder(memory.NewGoAllocator(), schema),
		berth: h.Berth, stepped: h.Step > 0,
	}
}

func (a *arrowStream) Write(results []store.Result) error {
	for i := range results {
		if err := a.one(&results[i]); err != nil {
			return err
		}
	}
	return nil
}

func (a *arrowStream) one(r *store.Result) error {
	channel, unit := r.Channel.String(), r.Channel.Kind.Unit()
	times := a.build.Field(0).(*array.TimestampBuilder)
	for _, t := range r.Time {
		times.Append(arrow.Timestamp(t))
		for i, text := range [...]string{a.berth, channel, unit} {
			a.build.Field(1 + i).(*array.StringBuilder).Append(text)
		}
	}
	columns := [][]float64{r.Value}
	if a.stepped {
		columns = [][]float64{r.Value, r.Min, r.Max, r.Std}
		a.build.Field(8).(*array.Int64Builder).AppendValues(r.Count, nil)
	}
	for i, column := range columns {
		a.build.Field(4+i).(*array.Float64Builder).AppendValues(column, nil)
	}
	batch := a.build.NewRecordBatch()
	defer batch.Release()
	return a.w.Write(batch)
}

func (a *arrowStream) Close() error {
	a.build.Release()
	return a.w.Close()
}
