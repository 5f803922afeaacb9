package tsdb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	promtsdb "github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/tsdb/fileutil"
	"github.com/prometheus/prometheus/tsdb/wlog"

	"hawser/ingest/store"
)

// Sync makes what was appended before the call survive a power cut. Without it an
// append survives the end of the process only: the database writes its log with
// each commit but syncs it when a file of it is full. Blocks are synced as they
// are made, and a log is dropped only when its block is.
//
// After a sync that failed a second one would prove nothing: the kernel may have
// thrown away what it could not write. The next call then makes blocks of all that
// is in the logs. If a power cut shows the log damaged there, Recovery tells of it.
func (s *Store) Sync() error {
	s.appending <- struct{}{}
	defer func() { <-s.appending }()
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	if s.unsound {
		err := s.roomy()
		if err == nil {
			err = unbroken(func() error { return s.flush(context.Background()) })
		}
		if err != nil {
			return fmt.Errorf("store: sync after one that failed: %w", err)
		}
		s.unsound = false
	}
	for _, dir := range []string{logDir, lateLogDir} {
		if err := s.syncLog(dir); err != nil {
			s.unsound = true
			return fmt.Errorf("store: sync: %w", err)
		}
	}
	if s.named {
		return nil
	}
	// What is in a folder whose name is lost is lost with it: the names of the logs,
	// then that of the store.
	for _, dir := range []string{s.opts.Dir, filepath.Dir(filepath.Clean(s.opts.Dir))} {
		if err := s.syncFile(fileutil.OpenDir(dir)); err != nil {
			return fmt.Errorf("store: sync: %w", err)
		}
	}
	s.named = true
	return nil
}

// flush turns all that is in the logs into blocks. There must be no appends
// meanwhile.
func (s *Store) flush(ctx context.Context) error {
	head := s.db.Head()
	if head.NumSeries() > 0 && head.MinTime() <= head.MaxTime() {
		if err := s.db.CompactHead(promtsdb.NewRangeHead(head, head.MinTime(), head.MaxTime())); err != nil {
			return err
		}
	}
	return s.db.CompactOOOHead(ctx)
}

// syncLog syncs the files of a log from the newest one synced before on, then the
// folder. Syncing through a descriptor of one's own writes the same pages.
func (s *Store) syncLog(name string) error {
	dir := filepath.Join(s.opts.Dir, name)
	first, last, err := wlog.Segments(dir)
	if errors.Is(err, os.ErrNotExist) || (err == nil && last < 0) {
		return nil
	}
	if err != nil {
		return err
	}
	for i := max(first, s.synced[name]); i <= last; i++ {
		err := s.syncFile(os.OpenFile(wlog.SegmentName(dir, i), os.O_RDWR, 0))
		if err != nil && !errors.Is(err, os.ErrNotExist) { // its block was just made
			return err
		}
	}
	s.synced[name] = last
	return s.syncFile(fileutil.OpenDir(dir))
}

// syncFile takes what a file was opened with. Some systems sync only what is open for
// writing.
func (s *Store) syncFile(f *os.File, err error) error {
	if err != nil {
		return err
	}
	return errors.Join(s.opts.syncFile(f), f.Close())
}
