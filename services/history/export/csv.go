package export

import (
	"encoding/csv"
	"io"
	"strconv"
	"time"

	"hawser/ingest/store"
)

// csvFile writes the form of RFC 4180 with a header, times in RFC 3339 and numbers
// with the fewest digits that give the same number when read.
type csvFile struct {
	w       *csv.Writer
	berth   string
	stepped bool
}

func newCSV(w io.Writer, h Head) (Writer, error) {
	c := &csvFile{w: csv.NewWriter(w), berth: h.Berth, stepped: h.Step > 0}
	header := []string{"time", "berth", "channel", "unit", "value"}
	if c.stepped {
		header = append(header[:4], "mean", "min", "max", "std", "count")
	}
	return c, c.w.Write(header)
}

func (c *csvFile) Write(results []store.Result) error {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	for _, r := range results {
		row := []string{"", c.berth, r.Channel.String(), r.Channel.Kind.Unit()}
		for i, t := range r.Time {
			row[0] = time.Unix(0, t).UTC().Format(time.RFC3339Nano)
			row = append(row[:4], number(r.Value[i]))
			if c.stepped {
				row = append(row, number(r.Min[i]), number(r.Max[i]), number(r.Std[i]), strconv.FormatInt(r.Count[i], 10))
			}
			if err := c.w.Write(row); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *csvFile) Close() error {
	c.w.Flush()
	return c.w.Error()
}
