package tsdb_test

import (
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
)

// On a disk that is nearly full nothing is taken and no chunk written; what was taken
// is answered as before, and with room again all goes on.
func TestNoRoom(t *testing.T) {
	var free atomic.Uint64
	free.Store(1 << 40)
	o := tsdb.Options{Dir: t.TempDir(), Settle: time.Hour}
	o.ReplaceFree(func(string) (uint64, error) { return free.Load(), nil })
	s := open(t, o)
	var sent storetest.Ledger
	blocks := storetest.Blocks(2, 300, 8) // 3,000 readings of a pin: chunks are full
	for i, b := range blocks {
		if i == 200 {
			free.Store(16<<20 - 1)
			if err := s.Append(t.Context(), "jetty-1", b); !errors.Is(err, tsdb.ErrNoRoom) {
				t.Errorf("a reading is taken without room: %v", err)
			}
			if err := s.MapChunks(); !errors.Is(err, tsdb.ErrNoRoom) {
				t.Errorf("chunks are written without room: %v", err)
			}
			sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), storetest.Steps()...)
			free.Store(16 << 20)
		}
		sent.Note("jetty-1", b)
		must(t, s.Append(t.Context(), "jetty-1", b))
	}
	must(t, s.MapChunks())
	sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), storetest.Steps()...)
}
