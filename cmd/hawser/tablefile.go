package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"hawser/detect/mooring"
)

// tableError is what is wrong in a table and where.
type tableError struct {
	name string
	line int
	err  error
}

func (e *tableError) Error() string { return fmt.Sprintf("%s:%d: %v", e.name, e.line, e.err) }
func (e *tableError) Unwrap() error { return e.err }

// mostRows bounds a table: ten years of hourly tide.
const mostRows = 100_000

// readTable reads a CSV file that has this header and hands on its rows, with a
// located error for the first that is wrong. Empty lines and lines that begin
// with # are passed over.
func readTable(path, header string, row func(fields []string) error) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	want := strings.Split(header, ",")
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord, r.TrimLeadingSpace = '#', -1, true
	for n := 0; ; n++ {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			if n < 2 {
				return &tableError{path, n + 1, fmt.Errorf("expected the header %s and a row below it", header)}
			}
			return nil
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return &tableError{path, bad.Line, bad.Err}
		}
		if err != nil {
			return err
		}
		line, _ := r.FieldPos(0)
		switch {
		case n == 0 && strings.TrimPrefix(strings.Join(fields, ","), "\ufeff") != header:
			err = fmt.Errorf("expected the header %s", header)
		case n > mostRows:
			err = fmt.Errorf("more than %d rows", mostRows)
		case len(fields) != len(want):
			err = fmt.Errorf("%d fields, expected %s", len(fields), header)
		case n > 0:
			err = row(fields)
		}
		if err != nil {
			return &tableError{path, line, err}
		}
	}
}

// readLoads reads measured loads: a line's id and its tension a row. A line
// without a row is NaN.
func readLoads(path string, p *mooring.Plan) ([]float64, error) {
	loads := noLoads(p)
	seen := make([]bool, len(loads))
	err := readTable(path, "line,tension_kN", func(f []string) error {
		i := p.Line(strings.TrimSpace(f[0]))
		if i < 0 {
			return fmt.Errorf("the plan has no line %q", f[0])
		}
		if seen[i] {
			return fmt.Errorf("line %q a second time", f[0])
		}
		kN, err := number(f[1], 0, 20_000)
		if err != nil {
			return fmt.Errorf("tension_kN: %w", err)
		}
		loads[i], seen[i] = kN, true
		return nil
	})
	return loads, err
}

// stamped is a row of a table of values over time.
type stamped struct {
	at     time.Time
	values []float64
}

// readSeries reads a table whose first column is a time, in order, and whose
// others are numbers of a range.
func readSeries(path, header string, least, most float64) ([]stamped, error) {
	names := strings.Split(header, ",")
	var rows []stamped
	err := readTable(path, header, func(f []string) error {
		at, err := time.Parse(time.RFC3339, strings.TrimSpace(f[0]))
		if err != nil {
			return fmt.Errorf("time: %q, expected RFC 3339 such as 2026-03-01T04:05:00Z", f[0])
		}
		if len(rows) > 0 && !at.After(rows[len(rows)-1].at) {
			return fmt.Errorf("time: %s is not after the row above", f[0])
		}
		row := stamped{at: at.UTC()}
		for k, text := range f[1:] {
			v, err := number(text, least, most)
			if err != nil {
				return fmt.Errorf("%s: %w", names[k+1], err)
			}
			row.values = append(row.values, v)
		}
		rows = append(rows, row)
		return nil
	})
	return rows, err
}
