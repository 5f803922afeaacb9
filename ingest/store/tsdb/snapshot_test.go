package tsdb_test

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
)

// A snapshot opens as a store with every reading once, late ones too, and takes the
// end of them again and more, as the journal's follower gives it.
func TestSnapshot(t *testing.T) {
	dir := t.TempDir()
	s, err := tsdb.Open(tsdb.Options{Dir: filepath.Join(dir, "store"), Now: clock})
	must(t, err)
	empty := filepath.Join(dir, "empty")
	must(t, s.Snapshot(t.Context(), empty))
	var sent storetest.Ledger
	blocks := storetest.Blocks(4, 600, 3)
	late := blocks[100]
	blocks[100] = &reading.Block{Sequence: 101}
	give := func(s *tsdb.Store, blocks ...*reading.Block) {
		for _, b := range blocks {
			must(t, s.Append(t.Context(), "jetty-1", storetest.Copy(b)))
		}
	}
	for _, b := range append(blocks[:400:400], late) {
		sent.Note("jetty-1", b)
		give(s, b)
	}
	copied := filepath.Join(dir, "copied")
	must(t, s.Snapshot(t.Context(), copied))
	give(s, blocks[400:450]...) // the store goes on
	must(t, s.Close())
	if err := s.Snapshot(t.Context(), filepath.Join(dir, "late")); !errors.Is(err, store.ErrClosed) {
		t.Errorf("snapshot of a closed store: %v", err)
	}

	c, err := tsdb.Open(tsdb.Options{Dir: copied, Now: clock})
	must(t, err)
	defer c.Close()
	if c.Refill().Wanted() {
		t.Errorf("damaged: %+v", c.Recovery())
	}
	sent.Check(t, c)
	for _, b := range blocks[400:] {
		sent.Note("jetty-1", b)
	}
	give(c, blocks[350:]...)
	give(c, late)
	sent.Check(t, c)
	sent.CheckSteps(t, c, storetest.Start, storetest.Start.Add(time.Hour), time.Second, time.Minute)

	e, err := tsdb.Open(tsdb.Options{Dir: empty, Now: clock})
	must(t, err)
	defer e.Close()
	if got := values(t, e, reading.Channel{Line: "1", Kind: reading.Tension}); len(got) != 0 {
		t.Errorf("a snapshot of nothing has %v", got)
	}
}
