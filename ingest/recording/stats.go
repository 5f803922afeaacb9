package recording

import "io"

// Stats tells how much of a recording was read and what was odd in it.
type Stats struct {
	Rows    uint64 // all of them, good, odd and unknown
	Bad     uint64 // values that are no number
	Late    uint64 // readings over 5 s behind, marked reading.Late
	Ahead   uint64 // readings far ahead and not borne out, marked reading.Late
	Unknown uint64 // rows of unknown channels, which are in no block
	// UnknownNames are the first 64 of those channels' names, shortened and made
	// printable, in the order of the file.
	UnknownNames []string
	Channels     int // known ones
	// First and Last are the earliest and latest time of a known channel's row,
	// Unix nanoseconds; 0 before there is one.
	First, Last int64
	// BytesRead counts the file's bytes, before unpacking. BytesTotal is the size
	// of the file, 0 where that is not known.
	BytesRead, BytesTotal int64
}

// counter counts what is read through it.
type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}
