package tsdb

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"

	"hawser/detect/reading"
	"hawser/ingest/store/roll"
)

// rollsFile is the file of rolls, a B+tree of one bucket a resolution beside the
// list of spans that wait:
//
//	key    start of the page (big-endian Unix ns), berth, 0, channel
//	value  the page, as roll.Pack writes it
//
// Pages come first by time, so that new ones go to the end and old ones leave from
// the front, whole leaves at once.
const rollsFile = "rolls.db"

// begunKey says, in the bucket of what is known of the file, that its list had all
// that was stored before it was made.
var (
	aboutBucket = []byte("about")
	begunKey    = []byte("begun")
)

// pageSpan is the stretch of time of a page, Unix ns. Those of seconds are written
// whole, since a span is reckoned as a whole; those of minutes are read again for
// each of theirs.
func pageSpan(r roll.Resolution) int64 {
	switch r {
	case roll.Minute:
		return int64(2 * time.Hour)
	case roll.TenMinutes:
		return int64(24 * time.Hour)
	default:
		return int64(roll.Span)
	}
}

func bucketOf(r roll.Resolution) []byte { return []byte(r.String()) }

// appendPageKey writes the key of a page; with "" for the channel, the start of the
// keys of all of the berth's pages of that time.
func appendPageKey(dst []byte, start int64, berth, channel string) []byte {
	dst = binary.BigEndian.AppendUint64(dst, uint64(start))
	dst = append(append(dst, berth...), 0)
	return append(dst, channel...)
}

// readKey is appendPageKey turned round.
func readKey(key []byte) (start int64, berth string, c reading.Channel, ok bool) {
	if len(key) < 8 {
		return 0, "", c, false
	}
	berth, name, ok := strings.Cut(string(key[8:]), "\x00")
	if !ok {
		return 0, "", c, false
	}
	c, err := reading.ParseChannel(name)
	return int64(binary.BigEndian.Uint64(key)), berth, c, err == nil
}

// openRolls opens the file of rolls, or makes it. One that is damaged is set aside
// and made again from the readings that are still there.
func (s *Store) openRolls() error {
	path := filepath.Join(s.opts.Dir, rollsFile)
	err := s.tryRolls(path)
	if errors.Is(err, roll.ErrFileDamaged) {
		if err := s.aside(rollsPart, rollsFile, err); err != nil {
			return err
		}
		err = s.tryRolls(path)
	}
	if err != nil {
		return err
	}
	s.roller = &roll.Roller{Pending: s.pending, Keeper: s, Settle: s.opts.Settle, Log: s.opts.Log}
	return nil
}

func (s *Store) tryRolls(path string) (err error) {
	db, err := roll.OpenFile(path)
	if err != nil {
		return fmt.Errorf("%s: %w", rollsFile, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, db.Close())
		}
	}()
	s.rolls = db
	err = roll.Soundly(func() error {
		begun := false
		err := db.Update(func(tx *bolt.Tx) error {
			for _, r := range roll.Resolutions() {
				if _, err := tx.CreateBucketIfNotExists(bucketOf(r)); err != nil {
					return err
				}
			}
			b, err := tx.CreateBucketIfNotExists(aboutBucket)
			if err != nil {
				return err
			}
			begun = b.Get(begunKey) != nil
			return nil
		})
		if err != nil {
			return err
		}
		s.pending, err = roll.OpenPending(db)
		if err == nil && !begun {
			err = s.rollAll()
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("%s: %w", rollsFile, err)
	}
	return nil
}

// rollAll puts all spans that have readings on the list: the store is older than its
// rolls.
func (s *Store) rollAll() error {
	berths, err := s.berthsStored()
	if err != nil {
		return err
	}
	oldest, newest := s.oldestTime(), s.newestTime()
	touched := make(map[roll.Place]bool)
	if oldest <= newest {
		first := roll.Floor(oldest*int64(time.Millisecond), int64(roll.Span))
		for t := first; t <= newest*int64(time.Millisecond); t += int64(roll.Span) {
			for _, berth := range berths {
				touched[roll.Place{Berth: berth, Start: t}] = true
			}
		}
	}
	if err := s.pending.Begin(touched); err != nil {
		return err
	}
	s.pending.End(touched, time.Time{})
	return s.rolls.Update(func(tx *bolt.Tx) error { return tx.Bucket(aboutBucket).Put(begunKey, []byte{1}) })
}

// rollsBytes is the size of the file of rolls.
func (s *Store) rollsBytes() float64 {
	info, err := os.Stat(filepath.Join(s.opts.Dir, rollsFile))
	if err != nil {
		return 0
	}
	return float64(info.Size())
}
