package recording

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"github.com/klauspost/compress/gzip"

	"hawser/detect/reading"
)

// TimeForm is how a Writer writes times.
type TimeForm uint8

const (
	// RFC3339 is 2026-03-01T04:05:06.700Z, with three digits of a second, or six
	// or nine where the time needs them.
	RFC3339 TimeForm = iota
	// UnixMilli is 1772337906700. Times must be on the millisecond.
	UnixMilli
)

// WriterOptions of a Writer.
type WriterOptions struct {
	Time TimeForm
	Gzip bool
}

// Writer writes blocks as a recording. What a Reader then gives, with the same
// windows, is the same blocks, except that late readings are written as any
// other and come back late only if they are still behind the rows before them.
// It is not safe for concurrent use.
type Writer struct {
	out  *bufio.Writer
	gzip *gzip.Writer
	form TimeForm
	refs []ref
	line []byte
	err  error // the first of any call, kept
}

// ref is one reading of a block.
type ref struct {
	time   int64
	series int
	index  int
}

// NewWriter writes to w. Nothing reaches w for sure before Close.
func NewWriter(w io.Writer, o WriterOptions) *Writer {
	out := &Writer{form: o.Time}
	if o.Gzip {
		out.gzip = gzip.NewWriter(w)
		w = out.gzip
	}
	out.out = bufio.NewWriterSize(w, 64<<10)
	_, out.err = out.out.WriteString(header + "\n")
	return out
}

// Write writes the block's readings in order of time, and of the series where
// times are equal. Values get the digits that Series.Decimals says; bad readings
// are written as NaN. Blocks come in their own order. An error is kept and
// returned by every later call.
func (w *Writer) Write(b *reading.Block) error {
	if w.err != nil {
		return w.err
	}
	w.refs = w.refs[:0]
	for i := range b.Series {
		for j, at := range b.Series[i].Time {
			w.refs = append(w.refs, ref{at, i, j})
		}
	}
	slices.SortFunc(w.refs, func(a, b ref) int {
		return cmp.Or(cmp.Compare(a.time, b.time), cmp.Compare(a.series, b.series), cmp.Compare(a.index, b.index))
	})
	for _, r := range w.refs {
		if w.err = w.writeRow(&b.Series[r.series], r); w.err != nil {
			return w.err
		}
	}
	return nil
}

func (w *Writer) writeRow(s *reading.Series, r ref) error {
	if w.form == UnixMilli && r.time%1e6 != 0 {
		return fmt.Errorf("%s: time %d ns is not on the millisecond", s.Channel, r.time)
	}
	if r.time <= 0 || r.time/1e6 > lastMillis {
		return fmt.Errorf("%s: time %d ns: %w", s.Channel, r.time, errYears)
	}
	w.line = appendTime(w.line[:0], r.time, w.form)
	w.line = append(w.line, ',')
	if s.Channel.Kind.OfLine() {
		w.line = append(append(w.line, s.Channel.Line...), '/')
	}
	w.line = append(append(w.line, s.Channel.Kind.String()...), ',')
	if s.QualityAt(r.index) == reading.Bad {
		w.line = append(w.line, "NaN"...)
	} else {
		w.line = strconv.AppendFloat(w.line, s.Value[r.index], 'f', int(s.Decimals), 64)
	}
	_, err := w.out.Write(append(w.line, '\n'))
	return err
}

// appendTime appends a time in the form given.
func appendTime(dst []byte, at int64, form TimeForm) []byte {
	t := time.Unix(0, at).UTC()
	switch {
	case form == UnixMilli:
		return strconv.AppendInt(dst, t.UnixMilli(), 10)
	case at%1e6 == 0:
		return t.AppendFormat(dst, "2006-01-02T15:04:05.000Z07:00")
	case at%1e3 == 0:
		return t.AppendFormat(dst, "2006-01-02T15:04:05.000000Z07:00")
	default:
		return t.AppendFormat(dst, "2006-01-02T15:04:05.000000000Z07:00")
	}
}

// Close completes the recording. It does not close the writer below. It may be
// called twice.
func (w *Writer) Close() error {
	if errors.Is(w.err, errClosed) {
		return nil
	}
	err := w.err
	if err == nil {
		err = w.out.Flush()
	}
	if w.gzip != nil {
		err = errors.Join(err, w.gzip.Close())
	}
	w.err = errClosed
	return err
}

var errClosed = errors.New("recording is closed")
