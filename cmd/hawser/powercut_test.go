package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/journal"
	"hawser/ingest/planfile"
	"hawser/ingest/standby"
)

// entriesOf is a recording as two sources send it, each the half of every second.
func entriesOf(t *testing.T, plan, path string) (all []journal.Entry) {
	t.Helper()
	p, message, err := planfile.Load(planFile(plan))
	if err != nil {
		t.Fatal(err)
	}
	for b := range blocksOf(t, path) {
		for n, source := range []string{"bow", "stern"} {
			half := *b
			half.Series = slices.DeleteFunc(slices.Clone(b.Series), func(s reading.Series) bool {
				bow := slices.IndexFunc(p.Lines, func(l mooring.Line) bool { return l.ID == s.Channel.Line }) < len(p.Lines)/2
				return bow != (n == 0)
			})
			data, err := batch.Append(nil, &half)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, journal.Entry{Berth: p.Berth, Source: source, SourceSequence: b.Sequence,
				Plan: planfile.Fingerprint(message), Data: data})
		}
	}
	return all
}

// runStation runs a station in this process until stop, which waits for its end.
func runStation(t *testing.T, st *station) (s *server, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- st.Run(ctx) }()
	s = &server{t: t, http: st.front.HTTPAddr().String(), grpc: st.front.GRPCAddr().String()}
	return s, func() {
		t.Helper()
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}

// give appends entries as the intake does and waits until they are on disk.
func give(t *testing.T, j *standby.Journal, entries ...journal.Entry) {
	t.Helper()
	for i := range entries {
		p, err := j.Append(t.Context(), &entries[i])
		if err == nil && i == len(entries)-1 {
			_, err = p.Wait(t.Context())
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A power cut takes the journal's end, which watch and store had seen. Before they
// ask where it ends now, the sources have filled it again, past its old end and in
// another order: every reading is watched and stored once, no alarm is doubled.
func TestJournalCutShortAndFilledAgainBeforeAnyoneAsks(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 11, nil)
	all := entriesOf(t, r.plan, r.path)
	slip := slices.IndexFunc(r.told, func(c told) bool { return c.Condition == "brake-slip" })
	seen := slices.IndexFunc(all, func(e journal.Entry) bool { return newestOf(t, &e) > r.told[slip].Time }) + 8

	cfg := defaultConfig()
	cfg.Data, cfg.HTTP, cfg.GRPC = t.TempDir(), "127.0.0.1:0", "127.0.0.1:0"
	cfg.Plans = []string{planFile("tanker-12")}
	open := func() *station {
		st, err := openStation(t.Context(), cfg, slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatal(err)
		}
		return st
	}
	st := open()
	s, stop := runStation(t, st)
	give(t, st.journal, all[:seen]...)
	s.watched(all[0].Berth, float64(seen))
	if got := s.onRecord(); len(got) <= slip {
		t.Fatalf("story: %d changes before the cut, want %d", len(got), slip+1)
	}
	stop()

	cut(t, filepath.Join(cfg.Data, "journal"), 0.8)
	st = open()
	left := int(st.journal.Recovery().Last)
	if left == 0 || newestOf(t, &all[left]) >= r.told[slip].Time {
		t.Fatalf("story: %d of %d entries are left", left, seen)
	}
	give(t, st.journal, otherwise(all[left:])...)
	s, stop = runStation(t, st)
	defer stop()
	s.watched(all[0].Berth, float64(len(all)))
	compareTold(t, s.onRecord(), r.told)
	s.stored(r.berth, r.sums)
}

// newestOf is the newest time in an entry.
func newestOf(t *testing.T, e *journal.Entry) string {
	t.Helper()
	var d batch.Decoder
	b, _, err := d.Decode(e.Data)
	if err != nil {
		t.Fatal(err)
	}
	return time.Unix(0, b.CompleteUntil).UTC().Format(stamp)
}

// otherwise puts entries in another order that their sources could have sent them
// in: four of each at a time, the stern first.
func otherwise(entries []journal.Entry) (out []journal.Entry) {
	for some := range slices.Chunk(entries, 8) {
		for _, source := range []string{"stern", "bow"} {
			for _, e := range some {
				if e.Source == source {
					out = append(out, e)
				}
			}
		}
	}
	return out
}

// cut leaves a share of the telemetry of a journal that is not open, and none of
// its index, which would know how much there was.
func cut(t *testing.T, dir string, share float64) {
	t.Helper()
	var blocks []string
	err := filepath.WalkDir(dir, func(path string, _ os.DirEntry, err error) error {
		if strings.HasSuffix(path, ".blk") && strings.Contains(path, "hawser-telemetry") {
			blocks = append(blocks, path)
		}
		return err
	})
	if err != nil || len(blocks) != 1 {
		t.Fatalf("blocks: %q, %v", blocks, err)
	}
	fi, err := os.Stat(blocks[0])
	if err == nil {
		err = errors.Join(os.Truncate(blocks[0], int64(share*float64(fi.Size()))),
			os.Remove(filepath.Join(filepath.Dir(blocks[0]), "index.db")))
	}
	if err != nil {
		t.Fatal(err)
	}
}
