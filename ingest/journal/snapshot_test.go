package journal_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/journal"
)

// occupy puts entries, documents and records in a journal.
func occupy(t *testing.T, j *journal.Journal, from, to int) {
	t.Helper()
	var last *journal.Pending
	for i := from; i <= to; i++ {
		last = mustAppend(t, j, &journal.Entry{Berth: fmt.Sprintf("east-%d", i%2), Source: "gate", SourceSequence: uint64(i), Plan: "abc",
			Refused: []uint32{uint32(i)}, Data: []byte(strings.Repeat(fmt.Sprintf("batch %d ", i), 50))})
		must(t, j.Put(t.Context(), "lines", fmt.Sprintf("ship-%d", i%7), []byte(fmt.Sprint(i))))
		must(t, record(t, j, "alarms", fmt.Sprintf("alarm %d", i)))
	}
	stored(t, last)
}

// all is what is in a journal, as text, up to a position and a record.
func all(t *testing.T, j *journal.Journal, entries journal.Position, records uint64) string {
	t.Helper()
	var out strings.Builder
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	_ = j.Follow(ctx, journal.FollowOptions{}, func(e *journal.Entry) error {
		fmt.Fprintln(&out, e.Position, e.Berth, e.Source, e.SourceSequence, e.Plan, e.Refused, string(e.Data), e.Stored.UnixNano())
		if e.Position == entries {
			return io.EOF
		}
		return nil
	})
	err := j.ReadRecords(t.Context(), "alarms", 0, func(pos uint64, data []byte) error {
		if pos <= records {
			fmt.Fprintln(&out, pos, string(data))
		}
		return nil
	})
	must(t, err)
	return out.String()
}

func documents(t *testing.T, j *journal.Journal) map[string]string {
	t.Helper()
	out := map[string]string{}
	keys, err := j.Keys(t.Context(), "lines")
	must(t, err)
	for _, key := range keys {
		data, _, err := j.Get(t.Context(), "lines", key)
		must(t, err)
		out[key] = string(data)
	}
	return out
}

// A journal restored from snapshots has the same entries at the same positions, with
// their times, and goes on from there.
func TestRestoredFromSnapshots(t *testing.T) {
	j := open(t, journal.Options{Dir: filepath.Join(t.TempDir(), "journal")})
	occupy(t, j, 1, 300)
	want, docs := all(t, j, 300, 300), documents(t, j)

	parts := map[journal.Part]io.Reader{}
	var first []byte
	for i, part := range journal.Parts() {
		var b bytes.Buffer
		must(t, j.Snapshot(t.Context(), part, &b))
		if i == 0 {
			first = b.Bytes()
		}
		parts[part] = &b
		occupy(t, j, 301+i, 301+i) // it goes on meanwhile
	}
	dir := filepath.Join(t.TempDir(), "restored")
	must(t, journal.Restore(t.Context(), dir, parts))
	r := open(t, journal.Options{Dir: dir})
	if got := all(t, r, 300, 300); got != want {
		t.Errorf("got\n%.600s\nwant\n%.600s", got, want)
	}
	if got := documents(t, r); fmt.Sprint(got) != fmt.Sprint(docs) {
		t.Errorf("documents %v, want %v", got, docs)
	}
	// Telemetry was last: it has what came while the others were written.
	if _, last, err := r.Bounds(t.Context()); err != nil || last != 302 {
		t.Errorf("the journal ends at %d: %v", last, err)
	}
	if at, err := r.LastSequence(t.Context(), "east-0", "gate"); err != nil || at != 302 {
		t.Errorf("source at %d: %v", at, err)
	}
	occupy(t, r, 303, 304)

	for name, bad := range map[string][]byte{
		"cut":      first[:len(first)/2],
		"no head":  first[bytes.IndexByte(first, '\n')+1:],
		"nothing":  nil,
		"of other": bytes.Replace(first, []byte("hawser-documents"), []byte("hawser-telemetry"), 1),
		"spoilt":   spoilt(first),
	} {
		again := map[journal.Part]io.Reader{}
		for _, part := range journal.Parts() {
			again[part] = bytes.NewReader(bad)
		}
		err := journal.Restore(t.Context(), filepath.Join(t.TempDir(), "bad"), again)
		if err == nil || !strings.Contains(err.Error(), "hawser-documents") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Opened to be copied a journal keeps the limits it has, whatever the defaults are.
func TestKeepLimits(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "journal")
	j := open(t, journal.Options{Dir: dir, MaxBytes: 64 << 30})
	occupy(t, j, 1, 20)
	closeJournal(t, j)
	j = open(t, journal.Options{Dir: dir, KeepLimits: true, MaxBytes: 1000})
	first, last, err := j.Bounds(t.Context())
	if err := errors.Join(err, j.Close()); err != nil || first != 1 || last != 20 {
		t.Errorf("%d to %d: %v", first, last, err)
	}
	// The same without: the limit is taken up at once.
	j = open(t, journal.Options{Dir: dir, MaxBytes: 1000})
	if first, _, err = j.Bounds(t.Context()); errors.Join(err, j.Close()) != nil || first == 1 {
		t.Errorf("a limit of 1,000 bytes keeps all: %v", err)
	}
}

// spoilt has a byte in the middle that is another.
func spoilt(p []byte) []byte {
	out := bytes.Clone(p)
	out[(bytes.IndexByte(p, '\n')+len(p))/2] ^= 0x55
	return out
}
