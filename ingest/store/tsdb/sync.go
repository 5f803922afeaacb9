package tsdb

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/prometheus/prometheus/tsdb/fileutil"
	"github.com/prometheus/prometheus/tsdb/wlog"

	"hawser/ingest/store"
)

// Sync makes what was appended before the call survive a power cut. Without it an
// append survives the end of the process only: the database writes its log with
// each commit but syncs it when a file of it is full. Blocks are synced as they
// are made, and a log is dropped only when its block is.
func (s *Store) Sync() error {
	s.lifetime.RLock()
	defer s.lifetime.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	s.syncing.Lock()
	defer s.syncing.Unlock()
	for _, dir := range []string{logDir, lateLogDir} {
		if err := s.syncLog(dir); err != nil {
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
