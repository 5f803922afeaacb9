package web

import (
	"context"
	"fmt"
	"hash/fnv"
	"strconv"
	"strings"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// mark is what a page has: everything up to a version. Another epoch, another set
// of berths that the caller may see, or another role of theirs makes it worthless.
type mark struct {
	epoch   string
	version uint64
	sight   uint64
}

// String is the mark as the id of an event.
func (m mark) String() string { return fmt.Sprintf("%s.%d.%x", m.epoch, m.version, m.sight) }

// parseMark reads the id of an event; what is none is the mark of who has nothing.
func parseMark(id string) mark {
	part := strings.Split(id, ".")
	if len(part) != 3 {
		return mark{}
	}
	version, err1 := strconv.ParseUint(part[1], 10, 64)
	sight, err2 := strconv.ParseUint(part[2], 16, 64)
	if err1 != nil || err2 != nil {
		return mark{}
	}
	return mark{part[0], version, sight}
}

// picture gives what a page lacks that has what had says, of one berth or of all
// for "", as far as the caller may see it, and what it has then. whole says that
// it is all there is, to be put in the place of whatever the page has.
func (s *Site) picture(ctx context.Context, berth string, had mark, courses bool) (p pictureWire, has mark, whole bool) {
	l := s.ledger
	l.mu.Lock()
	defer l.mu.Unlock()
	all := s.o.Board.Pictures("") // under the lock: what is entered never goes back
	l.take(all, s.losses(), s.o.Alarms.Position())
	seen := live.Seen(ctx, s.o.Access, all)
	has = mark{l.epoch, l.version, s.sight(ctx, berth, seen)}
	if whole = had.epoch != has.epoch || had.sight != has.sight || had.version > l.version; whole {
		had.version = 0
	}
	p = pictureWire{At: s.o.Now().UnixMilli()}
	if whole {
		p.Names, p.Build = []string{}, s.build
	}
	for _, of := range seen {
		if berth != "" && of.Berth != berth {
			continue
		}
		if whole {
			p.Names = append(p.Names, of.Berth)
		}
		if w := l.berths[of.Berth].since(had.version, courses); w != nil {
			if p.Berths == nil {
				p.Berths = make(map[string]*berthWire, len(seen))
			}
			p.Berths[of.Berth] = w
		}
	}
	if l.alarmsAt > had.version {
		p.Alarms = s.alarmsOf(ctx, berth)
	}
	return p, has, whole
}

// losses is what the loss of each line would do, by berth.
func (s *Site) losses() map[string]*hawserv1.BerthLosses {
	if s.o.Losses == nil {
		return nil
	}
	by := map[string]*hawserv1.BerthLosses{}
	for _, b := range s.o.Losses.Losses("") {
		by[b.Berth] = b
	}
	return by
}

// sight sums up which berths and ships are seen, and what may be done about them.
func (s *Site) sight(ctx context.Context, berth string, seen []*hawserv1.BerthPicture) uint64 {
	h := fnv.New64a()
	if s.o.Access != nil {
		fmt.Fprintln(h, s.o.Access.Standing(ctx))
	}
	for _, p := range seen {
		if berth == "" || p.Berth == berth {
			fmt.Fprintf(h, "%q %q\n", p.Berth, p.Ship)
		}
	}
	return h.Sum64()
}
