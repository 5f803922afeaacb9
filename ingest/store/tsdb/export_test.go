package tsdb

import (
	"context"
	"os"
	"path/filepath"
)

// ReplaceSync replaces what syncs a file or folder.
func (o *Options) ReplaceSync(f func(*os.File) error) { o.syncFile = f }

// Flush turns all that is in the log into blocks, as time does.
func (s *Store) Flush(ctx context.Context) error { return s.flush(ctx) }

// Compact merges blocks and drops what is out of the retention.
func (s *Store) Compact(ctx context.Context) error { return s.db.Compact(ctx) }

// BlockDirs are the folders of the blocks.
func (s *Store) BlockDirs() []string {
	var dirs []string
	for _, b := range s.db.Blocks() {
		dirs = append(dirs, filepath.Join(s.opts.Dir, b.Meta().ULID.String()))
	}
	return dirs
}

// Series is the number of series in memory.
func (s *Store) Series() uint64 { return s.db.Head().NumSeries() }

// BlockBytes is the size of all blocks.
func (s *Store) BlockBytes() (n int64) {
	for _, b := range s.db.Blocks() {
		n += b.Size()
	}
	return n
}

// LogBytes is the size of the log of readings in order.
func (s *Store) LogBytes() int64 { return s.size(logDir) }

// ReplaceFree replaces what tells how much may still be written to the disk.
func (o *Options) ReplaceFree(f func(dir string) (uint64, error)) { o.free = f }

// MapChunks writes full chunks of the log out, as each minute does.
func (s *Store) MapChunks() error { return s.mapNow() }

// DropOld drops the rolls that are over their retention, as an hour does.
func (s *Store) DropOld() error { return s.dropOld() }

// RollKey is the key of a page of rolls.
func RollKey(start int64, berth, channel string) []byte {
	return appendPageKey(nil, start, berth, channel)
}
