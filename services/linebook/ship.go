package linebook

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"hawser/detect/mooring"
)

// form is the version of the documents.
const form = 1

// mostRecords bounds a ship's records; the ropes out of use longest go first.
const mostRecords = 256

// ship is the records of one ship: a document.
type ship struct {
	Form int    `json:"form"`
	Name string `json:"ship"`
	// Up to where the records have the journal, the alarm log and the log of ropes.
	Position uint64 `json:"position"`
	Alarms   uint64 `json:"alarms"`
	Ropes    uint64 `json:"ropes"`
	// Uncertain is set where the journal lost more than the records could be taken
	// back by.
	Uncertain bool `json:"uncertain"`
	// Fitted is the record of each line of which somebody told that a rope was fitted.
	Fitted  map[string]string `json:"fitted"`
	Records []*Record         `json:"records"`
	// Uses tells what was which line when, oldest first.
	Uses []use `json:"uses"`
	// Dropped counts records of old ropes let go for want of room.
	Dropped int `json:"dropped"`

	slot    int  // where it was kept last
	changed bool // since
}

// use is from which journal position on a record is that of a line at a berth.
type use struct {
	Berth string `json:"berth"`
	Line  string `json:"line"`
	Key   string `json:"key"`
	First uint64 `json:"first"`
}

// usesKept is how far back an alarm that comes late finds its rope.
const usesKept = 512

// docKey names a ship's documents.
func docKey(name string) string {
	sum := sha256.Sum256([]byte(name))
	return hex.EncodeToString(sum[:8])
}

// slotKey is one of the two places of a document.
func slotKey(key string, slot int) string { return key + [2]string{"_a", "_b"}[slot] }

func newShip(name string) *ship {
	return &ship{Form: form, Name: name, Fitted: map[string]string{}}
}

// errDamaged is a document that cannot be read.
var errDamaged = errors.New("damaged")

// decodeShip reads a ship's document. Its error is errDamaged, but for one of another
// form.
func decodeShip(name string, data []byte) (*ship, error) {
	s := newShip(name)
	err := json.Unmarshal(data, s)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%w: records of %s: %w", errDamaged, name, err)
	case s.Form != form:
		return nil, fmt.Errorf("records of %s are of form %d, written by another version of hawser; this one knows %d", name, s.Form, form)
	case s.Name != name:
		return nil, fmt.Errorf("%w: records of %s are those of %s", errDamaged, name, s.Name)
	}
	for _, r := range s.Records {
		if r == nil || len(r.Recent) == 0 || !(r.MBLkN > 0) {
			return nil, fmt.Errorf("%w: records of %s: one without a stay or a strength", errDamaged, name)
		}
	}
	return s, nil
}

// key names the record that a line's readings go to.
func (s *ship) key(l *mooring.Line) string {
	if l.Rope != "" {
		return ropeKey(l.Rope)
	}
	if k := s.Fitted[l.ID]; k != "" {
		return k
	}
	return lineKey(l.ID, 1)
}

func ropeKey(rope string) string { return "rope:" + rope }

func lineKey(line string, fitting int) string {
	if fitting == 1 {
		return "line:" + line
	}
	return "line:" + line + "#" + strconv.Itoa(fitting)
}

// find gives a record, nil where there is none.
func (s *ship) find(key string) *Record {
	for _, r := range s.Records {
		if r.Key == key {
			return r
		}
	}
	return nil
}

// lines gives the records of a plan's lines, in its order, and puts them in use.
// What has no record gets one.
func (s *ship) lines(p *mooring.Plan) []*Record {
	s.leave(func(berth string) bool { return berth == p.Berth })
	out := make([]*Record, len(p.Lines))
	for i := range p.Lines {
		key := s.key(&p.Lines[i])
		r := s.find(key)
		if r == nil {
			r = &Record{Key: key, Fitting: 1}
			s.Records = append(s.Records, r)
		}
		r.set(p, i)
		out[i] = r
	}
	s.trim()
	return out
}

// leave takes the records out of use that are so by the plans of these berths.
func (s *ship) leave(left func(berth string) bool) {
	for _, r := range s.Records {
		if left(r.At) {
			r.At = ""
		}
	}
}

// use notes from which journal position on a record is that of its line at a berth.
func (s *ship) use(berth string, r *Record, position uint64) {
	for _, u := range slices.Backward(s.Uses) {
		if u.Berth == berth && u.Line == r.Line {
			if u.Key == r.Key {
				return
			}
			break
		}
	}
	s.Uses = keepNewest(append(s.Uses, use{Berth: berth, Line: r.Line, Key: r.Key, First: position}), usesKept)
}

// usedAt gives the record that was a line at a berth at a journal position, nil
// where that is not known any more.
func (s *ship) usedAt(berth, line string, position uint64) *Record {
	for _, u := range slices.Backward(s.Uses) {
		if u.Berth == berth && u.Line == line && u.First <= position {
			return s.find(u.Key)
		}
	}
	return nil
}

// trim lets the records over the bound go.
func (s *ship) trim() {
	for len(s.Records) > mostRecords {
		oldest := -1
		for i, r := range s.Records {
			if r.At == "" && (oldest < 0 || r.Last < s.Records[oldest].Last) {
				oldest = i
			}
		}
		if oldest < 0 {
			return
		}
		s.Records = slices.Delete(s.Records, oldest, oldest+1)
		s.Dropped++
	}
}
