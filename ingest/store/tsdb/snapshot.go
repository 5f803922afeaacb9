package tsdb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	bolt "go.etcd.io/bbolt"

	"hawser/ingest/store"
)

// Snapshot makes in dir, which it makes, a store with all that was appended before
// the call, while appends go on. Its blocks share their disk with this one's (hard
// links), so dir is to be on the same file system; what is in no block yet is
// written there as one. The rolls are copied.
func (s *Store) Snapshot(ctx context.Context, dir string) error {
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return err
	}
	// What is late is in no snapshot of the head: it becomes blocks first.
	if err := s.db.CompactOOOHead(ctx); err != nil {
		return fmt.Errorf("store: snapshot: late readings: %w", err)
	}
	head := s.db.Head()
	if err := s.db.Snapshot(dir, head.NumSeries() > 0 && head.MinTime() <= head.MaxTime()); err != nil {
		return fmt.Errorf("store: snapshot: %w", errors.Join(err, ctx.Err()))
	}
	// After the readings, so that no span waits for rolls without being on the list.
	err := s.rolls.View(func(tx *bolt.Tx) error { return tx.CopyFile(filepath.Join(dir, rollsFile), 0o640) })
	if err != nil {
		return fmt.Errorf("store: snapshot: rolls: %w", err)
	}
	return nil
}
