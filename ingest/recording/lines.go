package recording

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"
)

const (
	maxLine    = 4096 // bytes
	lineBuffer = 64 << 10
)

// lines gives the lines of a file without their ends, which are LF or CRLF.
type lines struct {
	r      *bufio.Reader
	gzip   bool
	number int // of the line given last, or the one that is in error
}

// next gives the next line, valid until the next call, or io.EOF. A last line
// need not have an end, but what comes before another error of r is no line.
func (l *lines) next() ([]byte, error) {
	line, err := l.r.ReadSlice('\n')
	if err == io.EOF && len(line) == 0 {
		return nil, io.EOF
	}
	l.number++
	line = bytes.TrimSuffix(line, []byte{'\n'})
	switch {
	case len(line) > maxLine:
		return nil, fmt.Errorf("line of over %d bytes", maxLine)
	case err == nil, err == io.EOF:
		return bytes.TrimSuffix(line, []byte{'\r'}), nil
	case l.gzip:
		return nil, explainGzip(err)
	}
	return nil, err
}

// explainGzip says what an error of the unpacking means for the file.
func explainGzip(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("gzip data is cut short: %w", err)
	}
	return fmt.Errorf("gzip data is damaged: %w", err)
}

// split takes a line apart at its commas. A field may be quoted as RFC 4180 has
// it, within its line.
func split(line []byte) (at, channel, value []byte, err error) {
	if bytes.HasPrefix(line, []byte(`"`)) || bytes.Contains(line, []byte(`,"`)) {
		return splitQuoted(line)
	}
	at, rest, _ := bytes.Cut(line, []byte{','})
	channel, value, two := bytes.Cut(rest, []byte{','})
	if !two || bytes.IndexByte(value, ',') >= 0 {
		return nil, nil, nil, wrongFields(bytes.Count(line, []byte{','}) + 1)
	}
	return at, channel, value, nil
}

func splitQuoted(line []byte) (at, channel, value []byte, err error) {
	r := csv.NewReader(bytes.NewReader(line))
	r.FieldsPerRecord = -1 // told in our words
	fields, err := r.Read()
	if place, ok := errors.AsType[*csv.ParseError](err); ok {
		err = place.Err // the line is told by who reads the file
	}
	if err == nil && len(fields) != 3 {
		err = wrongFields(len(fields))
	}
	if err != nil {
		return nil, nil, nil, err
	}
	return []byte(fields[0]), []byte(fields[1]), []byte(fields[2]), nil
}

func wrongFields(n int) error { return fmt.Errorf("%d fields, expected 3: %s", n, header) }

// quote shows text from a file in an error: quoted, and not too much of it.
func quote(p []byte) string {
	const most = 40
	if len(p) <= most {
		return strconv.Quote(string(p))
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(p[cut]) {
		cut--
	}
	return strconv.Quote(string(p[:cut])) + "…"
}
