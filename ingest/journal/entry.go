package journal

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
)

// Position is an entry's place in the journal. The first is 1; later is larger.
type Position uint64

// Entry is one batch of telemetry with what must be known to read it.
type Entry struct {
	// Berth and Source are 1 to 64 of [A-Za-z0-9_-].
	Berth, Source string
	// SourceSequence rises from entry to entry of a source, by at least one.
	SourceSequence uint64
	// Plan is the fingerprint of the plan the batch was checked against; may be empty.
	Plan string
	// Refused lists the batch's columns that were not taken.
	Refused []uint32
	// Data is the batch as sent. It is not to be changed by who reads it.
	Data []byte

	// Position and Stored (UTC) are set on entries read.
	Position Position
	Stored   time.Time
}

const (
	telemetryStream = "hawser-telemetry"
	documentStream  = "hawser-documents"
	recordStream    = "hawser-records"

	telemetryPrefix = "hawser.telemetry."
	documentPrefix  = "hawser.document."
	recordPrefix    = "hawser.record."

	batchHeader = "Hawser-Batch"
	maxRefused  = 4096
)

func (e *Entry) subject() string { return telemetryPrefix + e.Berth + "." + e.Source }

func (e *Entry) validate() error {
	if err := checkToken("berth", e.Berth); err != nil {
		return err
	}
	if err := checkToken("source", e.Source); err != nil {
		return err
	}
	switch {
	case e.SourceSequence == 0:
		return fmt.Errorf("journal: berth %s: source %s: sequence 0: want 1 or more", e.Berth, e.Source)
	case e.Plan != "" && checkToken("plan", e.Plan) != nil:
		return checkToken("plan", e.Plan)
	case len(e.Refused) > maxRefused:
		return fmt.Errorf("%w: %d refused columns, at most %d", ErrTooLarge, len(e.Refused), maxRefused)
	case len(e.Data) > MaxEntry:
		return fmt.Errorf("%w: entry of %d bytes, at most %d", ErrTooLarge, len(e.Data), MaxEntry)
	}
	return nil
}

// checkToken refuses what cannot be one part of a subject.
func checkToken(what, s string) error {
	if !isToken(s) {
		return fmt.Errorf("journal: %s %q: want 1 to 64 of A-Z a-z 0-9 _ -", what, s)
	}
	return nil
}

func isToken(s string) bool {
	for i := range len(s) {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') && c != '-' && c != '_' {
			return false
		}
	}
	return len(s) > 0 && len(s) <= 64
}

func (e *Entry) header() nats.Header {
	b := make([]byte, 0, 48)
	b = strconv.AppendUint(b, e.SourceSequence, 10)
	b = append(b, ' ')
	b = append(b, cmp.Or(e.Plan, "-")...)
	b = append(b, ' ')
	for i, c := range e.Refused {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendUint(b, uint64(c), 10)
	}
	if len(e.Refused) == 0 {
		b = append(b, '-')
	}
	return nats.Header{batchHeader: {string(b)}}
}

// parseEntry reads what subject and header say of an entry.
func parseEntry(subject string, h nats.Header) (*Entry, error) {
	rest, ok := strings.CutPrefix(subject, telemetryPrefix)
	if !ok {
		return nil, fmt.Errorf("journal: subject %q is not telemetry", subject)
	}
	e := &Entry{}
	if e.Berth, e.Source, ok = strings.Cut(rest, "."); !ok {
		return nil, fmt.Errorf("journal: subject %q names no source", subject)
	}
	head := h.Get(batchHeader)
	seq, head, ok1 := strings.Cut(head, " ")
	plan, refused, ok2 := strings.Cut(head, " ")
	n, err := strconv.ParseUint(seq, 10, 64)
	if err != nil || n == 0 || !ok1 || !ok2 {
		return nil, fmt.Errorf("journal: subject %s: header %s %q: want sequence, plan, refused columns", subject, batchHeader, h.Get(batchHeader))
	}
	e.SourceSequence = n
	if plan != "-" {
		e.Plan = plan
	}
	if refused != "-" {
		for s := range strings.SplitSeq(refused, ",") {
			c, err := strconv.ParseUint(s, 10, 32)
			if err != nil {
				return nil, fmt.Errorf("journal: subject %s: refused column %q: want a number", subject, s)
			}
			e.Refused = append(e.Refused, uint32(c))
		}
	}
	return e, nil
}
