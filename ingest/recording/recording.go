// Package recording reads telemetry from CSV recordings, plain or gzip, and
// writes them. It cuts a recording into blocks as a live source would send
// them. It never judges a reading against a plan.
//
// Its invariants: every row is in exactly one block or counted as of an unknown
// channel, or the file is refused with the line that is wrong; the same bytes
// give the same blocks, however they arrive; no good reading comes at or before
// a promise given earlier; memory is bounded whatever the file.
//
// The form is fixed: a header `time,channel,value`, then a row a reading.
//
//	time,channel,value
//	2026-03-01T04:05:06.700Z,7/tension,88.5     or 1772337906700,7/tension,88.5
//	2026-03-01T04:05:06.700Z,7/payout,NaN       a bad reading, not a fault of the file
//
// Rows come in time order to within reading.Lateness, 5 s. They are put in order
// and cut into windows on their time:
//
//	           promised          newest - 5 s        newest
//	──────────────┤                    ┊               │
//	 given out    │ window │ window │ win┊ow │ window │ w
//	              └────────┴────────┘    open: rows still come
//	                these go out now
//
// A window goes out, rows sorted by time, when the newest row is 5 s past its
// end, or at the end of the file. Time before the last such end is closed. A row
// in closed time is late: it goes out with the next block, marked
// reading.Late. Rows of unknown channels are counted and otherwise as if they
// were not there.
//
// By this rule one row with a time far ahead would make all that follow late.
// So a row more than a minute ahead of every other, and the first row, is
// believed only when the next row bears it out, being no more than 5 s behind
// it. In a recording in order to within 5 s it always is. Where the next row does not,
// the lone row goes out marked reading.Late and is counted as ahead. Two such
// rows in succession are believed, and so is a clock that steps back: what
// follows is late, kept and told, until time catches up.
//
// Lines with a quoted field alone go through encoding/csv, which knows no bound on
// a line and allocates for every row.
package recording

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"time"

	"github.com/klauspost/compress/gzip"

	"hawser/detect/reading"
)

// The bounds of a Reader.
const (
	// maxHeld is the number of rows waiting for their window to close, 24 bytes
	// each. When there are more, the oldest window goes out early, its promise
	// kept back until it would have closed: nothing becomes late, but rows that
	// still come for it are not sorted in among those.
	maxHeld = 1 << 20
	// maxLate is the number of late rows that wait for a block to go with. When
	// there are more, they go in a block of their own, which promises nothing new.
	maxLate = 8192
	// maxBlockRows, maxBlockSeries and maxSeriesRows bound a block, so that it
	// fits a batch on the wire. A larger window goes out in several, of which the
	// last gives its promise.
	maxBlockRows   = 32_768
	maxBlockSeries = 512
	maxSeriesRows  = 20_000
	// maxChannels bounds the channels of a file. Rows of any more count as of
	// unknown channels.
	maxChannels = 4096
	// maxUnknown bounds the unknown names that are remembered.
	maxUnknown = 64
	// maxJump is how far ahead of every other row a row needs no bearing out.
	maxJump = int64(time.Minute)
)

const header = "time,channel,value"

// Options of a Reader.
type Options struct {
	// Window is the span of a block; 0 means 1 s. From 100 ms to 1 min.
	Window time.Duration
}

// Error is a recording that breaks the form, or cannot be read on.
type Error struct {
	Name string // of the file, as opened
	Line int    // from 1
	Err  error  // what was found and expected
}

// Error is `file:line: what was found and expected`.
func (e *Error) Error() string { return fmt.Sprintf("%s:%d: %v", e.Name, e.Line, e.Err) }

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Reader gives a recording block by block. It is not safe for concurrent use.
type Reader struct {
	name   string
	file   io.Closer
	input  *counter
	lines  lines
	clock  clock
	names  names
	order  order
	cut    cutter
	stats  Stats
	broken error // what Next says when the rows before it have been given
}

// Open opens the recording at path. A file that does not begin as a recording
// gives an *Error. The Reader must be closed.
func Open(path string, o Options) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	r, err := NewReader(path, f, o)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	r.file = f
	if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
		r.stats.BytesTotal = info.Size()
	}
	return r, nil
}

// NewReader reads a recording from in; name stands for it in errors. What
// begins with gzip's magic bytes is unpacked.
func NewReader(name string, in io.Reader, o Options) (*Reader, error) {
	o.Window = cmp.Or(o.Window, time.Second)
	if o.Window < 100*time.Millisecond || o.Window > time.Minute {
		return nil, fmt.Errorf("recording window is %v, expected 100ms to 1m", o.Window)
	}
	r := &Reader{name: name, input: &counter{r: in}}
	r.order.window = int64(o.Window)
	r.names.init()
	r.lines.r = bufio.NewReaderSize(r.input, lineBuffer)
	magic, err := r.lines.r.Peek(2)
	if err != nil && err != io.EOF {
		return nil, r.fault(err, 1)
	}
	if bytes.Equal(magic, []byte{0x1f, 0x8b}) {
		unpacked, err := gzip.NewReader(r.lines.r)
		if err != nil {
			return nil, r.fault(explainGzip(err), 1)
		}
		r.lines.r, r.lines.gzip = bufio.NewReaderSize(unpacked, lineBuffer), true
	}
	if err := r.readHeader(); err != nil {
		return nil, err
	}
	return r, nil
}

func (r *Reader) readHeader() error {
	line, err := r.lines.next()
	if errors.Is(err, io.EOF) {
		return r.fault(fmt.Errorf("empty file, expected the header %q", header), 1)
	}
	if err != nil {
		return r.fault(err, 1)
	}
	at, channel, value, err := split(bytes.TrimPrefix(line, []byte("\ufeff")))
	if got := bytes.Join([][]byte{at, channel, value}, []byte(",")); err != nil || string(got) != header {
		return r.fault(fmt.Errorf("header %s, expected %q", quote(line), header), 1)
	}
	return nil
}

func (r *Reader) fault(err error, line int) error { return &Error{Name: r.name, Line: line, Err: err} }

// Next gives the next block, io.EOF at the end, or an *Error, before which all
// blocks of the rows above it have been given. The block is valid until the next
// call. Its series are in order of their channels' names, each in order of time;
// readings of equal time stay in the order of the file.
func (r *Reader) Next() (*reading.Block, error) {
	for !r.cut.pending() {
		switch {
		case r.order.ready():
			r.order.release(&r.cut)
		case r.broken == nil:
			r.broken = r.readRows()
		case r.order.finish(&r.cut):
		default:
			return nil, r.broken
		}
	}
	return r.cut.next(r.names.known), nil
}

// Blocks gives what Next does, to its end: after an error, if there is one, nothing more.
func (r *Reader) Blocks() iter.Seq2[*reading.Block, error] {
	return func(yield func(*reading.Block, error) bool) {
		for {
			b, err := r.Next()
			if errors.Is(err, io.EOF) || !yield(b, err) || err != nil {
				return
			}
		}
	}
}

// readRows reads until a block can go out, or to the error that ends it all.
func (r *Reader) readRows() error {
	for {
		line, err := r.lines.next()
		if err == io.EOF {
			return err
		}
		if err == nil && len(line) > 0 {
			err = r.readRow(line)
		}
		if err != nil {
			return r.fault(err, r.lines.number)
		}
		if r.order.ready() {
			return nil
		}
	}
}

func (r *Reader) readRow(line []byte) error {
	when, name, value, err := split(line)
	if err != nil {
		return err
	}
	at, err := r.clock.parse(when)
	if err != nil {
		return err
	}
	r.stats.Rows++
	channel := r.names.find(name)
	if channel < 0 {
		r.stats.Unknown++
		return nil
	}
	if r.stats.First == 0 || at < r.stats.First {
		r.stats.First = at
	}
	r.stats.Last = max(r.stats.Last, at)
	one := row{time: at, channel: uint16(channel)}
	if !one.setValue(value) {
		r.stats.Bad++
	}
	r.order.add(one)
	return nil
}

// Stats tells what has been read so far.
func (r *Reader) Stats() Stats {
	s := r.stats
	s.Late, s.Ahead = r.order.late, r.order.ahead
	s.Channels, s.UnknownNames = len(r.names.known), r.names.unknown
	s.BytesRead = r.input.n
	return s
}

// Close closes the file that Open opened. It may be called twice.
func (r *Reader) Close() error {
	if r.file == nil {
		return nil
	}
	f := r.file
	r.file = nil
	return f.Close()
}
