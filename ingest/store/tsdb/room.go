package tsdb

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// The database ends the process where the disk takes no chunk, which it writes each
// minute, as it closes and of late readings as they come. So it is not left to it when:
// a store whose disk is nearly full takes nothing and writes no chunks until there is
// room again. History is late then, and nothing else.
const (
	room     = 16 << 20 // bytes; a chunk file is begun with 128 KiB
	mapEvery = time.Minute
)

// ErrNoRoom is that of a store on a disk that is nearly full.
var ErrNoRoom = errors.New("disk is nearly full")

// roomy is ErrNoRoom where the disk has not the room to go on. A disk that does not tell
// is taken to have it.
func (s *Store) roomy() error {
	free, err := s.opts.free(s.opts.Dir)
	if err != nil || free >= room {
		return nil
	}
	return fmt.Errorf("store: %w: %d MiB left, %d needed", ErrNoRoom, free>>20, room>>20)
}

// mapChunks writes full chunks out of memory each minute until ctx ends.
func (s *Store) mapChunks(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(mapEvery):
		}
		if err := s.mapNow(); err != nil {
			s.opts.Log.Warn("chunks stay in memory", "err", err)
		}
	}
}

func (s *Store) mapNow() error {
	if err := s.roomy(); err != nil {
		return err
	}
	return unbroken(func() error {
		s.db.ForceHeadMMap()
		return nil
	})
}

// unbroken makes an error of the panic by which the database tells of a chunk that the
// disk did not take after all.
func unbroken(do func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("store: chunk not written: %v", p)
		}
	}()
	return do()
}
