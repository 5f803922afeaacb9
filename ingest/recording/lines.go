package recording

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"
)

const (
	maxLine    = 4096 // bytes
	lineBuffer = 256 << 10
)

// lines gives the lines of r without their ends, which are LF or CRLF.
type lines struct {
	r          io.Reader
	gzip       bool
	buf        []byte
	start, end int
	number     int   // of the line given last, or the one that is in error
	err        error // of r
}

// next gives the next line, valid until the next call, or io.EOF. A last line
// need not have an end, but what comes before an error of r is no line.
func (l *lines) next() ([]byte, error) {
	for {
		rest := l.buf[l.start:l.end]
		n := bytes.IndexByte(rest, '\n')
		switch {
		case n > maxLine || n < 0 && len(rest) > maxLine:
			l.number++
			return nil, fmt.Errorf("line of over %d bytes", maxLine)
		case n >= 0:
			l.number++
			l.start += n + 1
			return bytes.TrimSuffix(rest[:n], []byte{'\r'}), nil
		case l.err == io.EOF && len(rest) > 0:
			l.number++
			l.start = l.end
			return bytes.TrimSuffix(rest, []byte{'\r'}), nil
		case l.err == io.EOF:
			return nil, io.EOF
		case l.err != nil:
			l.number++
			if l.gzip {
				return nil, explainGzip(l.err)
			}
			return nil, l.err
		}
		l.fill()
	}
}

// fill reads more behind what is left, which is at most a line.
func (l *lines) fill() {
	if l.buf == nil {
		l.buf = make([]byte, lineBuffer)
	}
	l.end = copy(l.buf, l.buf[l.start:l.end])
	l.start = 0
	for range 100 {
		n, err := l.r.Read(l.buf[l.end:])
		l.end += n
		l.err = err
		if n > 0 || err != nil {
			return
		}
	}
	l.err = io.ErrNoProgress
}

// explainGzip says what an error of the unpacking means for the file.
func explainGzip(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("gzip data is cut short: %w", err)
	}
	return fmt.Errorf("gzip data is damaged: %w", err)
}

// split takes a line apart at its commas and counts the fields; those beyond
// the third are counted only. A field may be quoted as RFC 4180 has it, within
// its line.
func split(line []byte) (fields [3][]byte, n int, err error) {
	for rest := line; ; {
		i := bytes.IndexByte(rest, ',')
		field := rest
		if i >= 0 {
			field, rest = rest[:i], rest[i+1:]
		}
		if n < len(fields) {
			fields[n] = field
			if len(field) > 0 && field[0] == '"' {
				return splitQuoted(line)
			}
		}
		n++
		if i < 0 {
			return fields, n, nil
		}
	}
}

func splitQuoted(line []byte) (fields [3][]byte, n int, err error) {
	for {
		var field []byte
		var more bool
		if len(line) > 0 && line[0] == '"' {
			field, line, err = unquote(line)
			if err != nil {
				return fields, n, err
			}
			more = len(line) > 0
			line = bytes.TrimPrefix(line, []byte{','})
		} else {
			field, line, more = bytes.Cut(line, []byte{','})
		}
		if n < len(fields) {
			fields[n] = field
		}
		n++
		if !more {
			return fields, n, nil
		}
	}
}

// unquote takes a quoted field off the line, in place.
func unquote(line []byte) (field, rest []byte, err error) {
	field = line[:0]
	for i := 1; i < len(line); i++ {
		if line[i] != '"' {
			field = append(field, line[i])
			continue
		}
		if i++; i == len(line) || line[i] == ',' {
			return field, line[i:], nil
		}
		if line[i] != '"' {
			return nil, nil, errors.New("text after a closing quote, expected a comma")
		}
		field = append(field, '"')
	}
	return nil, nil, errors.New("quoted field is not closed on its line")
}

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
