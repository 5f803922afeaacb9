package tsdb

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/oklog/ulid/v2"
	"github.com/prometheus/client_golang/prometheus"
	promtsdb "github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/tsdb/chunks"
	"github.com/prometheus/prometheus/tsdb/fileutil"
	"github.com/prometheus/prometheus/tsdb/wlog"
)

// damagedDir is the folder for what cannot be read.
const damagedDir = "damaged"

// The database's folders for what is in no block yet.
const (
	logDir     = "wal"
	lateLogDir = "wbl"
	headDir    = "chunks_head"
)

// Recovery is what a start found damaged.
type Recovery struct {
	Damage []Damage
}

// refill reports whether readings may be missing that had been stored. Rolls alone are
// made again from the readings.
func (r *Recovery) refill() bool {
	return slices.ContainsFunc(r.Damage, func(d Damage) bool { return d.Part != rollsPart })
}

const rollsPart = "rolls"

// Damage is one part that could not be read.
type Damage struct {
	// Part is "block 01J…", "log", "log of late readings", "chunks of the log" or
	// "rolls".
	Part string
	// Bytes is what was cut off or set aside.
	Bytes int64
	// Aside is where the part is now, "" where the unreadable end was cut off.
	Aside string
	Err   error
}

// Recovery tells what Open found damaged and how it went on.
func (s *Store) Recovery() Recovery { return s.recovery }

// maxRepairs is how often the database may repair its logs in one start: each of
// them once, and once to spare.
const maxRepairs = 3

// openDatabase opens the database, past damage: blocks that do not open are set
// aside first; a log is cut where it becomes unreadable, and if that does not help
// set aside as a whole.
func (s *Store) openDatabase() error {
	if err := s.asideBlocks(); err != nil {
		return err
	}
	err := s.openRepaired()
	if err != nil && damagedChunks(err) {
		// The log has what is in them.
		if err := s.aside("chunks of the log", headDir, err); err != nil {
			return err
		}
		err = s.openRepaired()
	}
	if err != nil && damagedLog(err) {
		for _, part := range [][2]string{
			{"log", logDir}, {"log of late readings", lateLogDir}, {"chunks of the log", headDir},
		} {
			if err := s.aside(part[0], part[1], err); err != nil {
				return err
			}
		}
		err = s.openRepaired()
	}
	return err
}

// errUnfinished is the end of a log at the edge of a page, within a record: its writer was
// stopped between two pages of it, so that nobody was told that it is stored.
var errUnfinished = errors.New("last record is torn")

// pageBytes is the size of a log's pages, each of which is written at a stroke. Source:
// the database's description of its format, from memory.
const pageBytes = 32 << 10

// errUnrepaired is a log that is as damaged after its repair as before.
var errUnrepaired = errors.New("repair corrupted log: still corrupted after it")

// openRepaired opens the database again and again while it repairs something: it
// cuts the one log at the damage and stops there, without a look at the other.
func (s *Store) openRepaired() error {
	var cuts []Damage
	for range maxRepairs {
		cut, err := s.openOnce()
		if err != nil {
			return err
		}
		if cut == nil {
			for _, d := range cuts {
				if d.Err != errUnfinished {
					s.tell(d)
				}
			}
			return nil
		}
		cuts = append(cuts, *cut)
		if err := s.db.Close(); err != nil {
			return err
		}
	}
	return errUnrepaired
}

// openOnce opens the database and tells what it cut off a log, if it did.
func (s *Store) openOnce() (*Damage, error) {
	before := map[string]int64{logDir: s.size(logDir), lateLogDir: s.size(lateLogDir)}
	full := map[string]bool{logDir: s.endsOnPage(logDir), lateLogDir: s.endsOnPage(lateLogDir)}
	s.internals = prometheus.NewRegistry()
	options := s.opts.databaseOptions()
	options.BlockQuerierFunc = tolerantQuerier(s.opts.Log, s.metrics.damaged.Inc)
	found := &wlog.CorruptionErr{Dir: logDir, Err: errors.New("unreadable from the cut on")}
	log := databaseLog(s.opts.Log, func(c *wlog.CorruptionErr) { found = c })
	db, err := promtsdb.Open(s.opts.Dir, log, s.internals, options, nil)
	if err != nil {
		return nil, err
	}
	s.db = db
	if internal(s.internals, "prometheus_tsdb_wal_corruptions_total") == 0 {
		return nil, nil
	}
	dir, part := logDir, "log"
	if filepath.Base(found.Dir) == lateLogDir {
		dir, part = lateLogDir, "log of late readings"
	}
	if full[dir] && found.Err.Error() == errUnfinished.Error() {
		found.Err = errUnfinished
	}
	return &Damage{Part: part, Bytes: max(before[dir]-s.size(dir), 0), Err: found.Err}, nil
}

// endsOnPage reports whether the newest file of a log is of whole pages.
func (s *Store) endsOnPage(log string) bool {
	dir := filepath.Join(s.opts.Dir, log)
	_, newest, err := wlog.Segments(dir)
	if err != nil || newest < 0 {
		return false
	}
	file, err := os.Stat(wlog.SegmentName(dir, newest))
	return err == nil && file.Size() > 0 && file.Size()%pageBytes == 0
}

// damagedLog reports whether the database would not open for what is in its log,
// and not for a lock, a full disk or missing rights.
func damagedLog(err error) bool {
	_, corrupt := errors.AsType[*wlog.CorruptionErr](err)
	// A log damaged beyond the database's own repair has no typed error.
	return corrupt || strings.Contains(err.Error(), "repair corrupted")
}

// damagedChunks is the same of the chunks beside the log.
func damagedChunks(err error) bool {
	_, corrupt := errors.AsType[*chunks.CorruptionErr](err)
	return corrupt || strings.Contains(err.Error(), headDir) && strings.Contains(err.Error(), "invalid")
}

// asideBlocks moves blocks that do not open out of the way of the database, which
// would not open with them.
func (s *Store) asideBlocks() error {
	entries, err := os.ReadDir(s.opts.Dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if _, err := ulid.ParseStrict(e.Name()); err != nil || !e.IsDir() {
			continue
		}
		dir := filepath.Join(s.opts.Dir, e.Name())
		b, err := promtsdb.OpenBlock(databaseLog(s.opts.Log, nil), dir, nil, promtsdb.DefaultPostingsDecoderFactory)
		if err == nil {
			err = b.Close()
		}
		if err == nil {
			continue
		}
		if err := s.aside("block "+e.Name(), e.Name(), err); err != nil {
			return err
		}
	}
	return nil
}

// aside moves one folder or file into damagedDir, under a name not taken there.
func (s *Store) aside(part, name string, cause error) error {
	from := filepath.Join(s.opts.Dir, name)
	if _, err := os.Stat(from); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	d := Damage{Part: part, Bytes: s.size(name), Err: cause}
	parent := filepath.Join(s.opts.Dir, damagedDir)
	if err := os.MkdirAll(parent, 0o750); err != nil {
		return err
	}
	d.Aside = filepath.Join(parent, name)
	for n := 2; ; n++ {
		if _, err := os.Lstat(d.Aside); errors.Is(err, os.ErrNotExist) {
			break
		}
		d.Aside = filepath.Join(parent, fmt.Sprintf("%s-%d", name, n))
	}
	// Replace renames and makes the rename durable.
	if err := fileutil.Replace(from, d.Aside); err != nil {
		return fmt.Errorf("set %s aside: %w", part, err)
	}
	s.tell(d)
	return nil
}

func (s *Store) tell(d Damage) {
	s.recovery.Damage = append(s.recovery.Damage, d)
	s.metrics.damaged.Inc()
	s.opts.Log.Error("store was damaged, going on without",
		"part", d.Part, "bytes", d.Bytes, "aside", d.Aside, "err", d.Err)
}

// size is the bytes in a folder or file, 0 if it is not there.
func (s *Store) size(name string) int64 {
	n, err := fileutil.DirSize(filepath.Join(s.opts.Dir, name))
	if err != nil {
		return 0
	}
	return n
}
