package web

import (
	"math/rand/v2"
	"strconv"
	"sync"

	hawserv1 "hawser/proto/hawser/v1"
)

// spanSeconds is the length of a span of a course, mostSpans how many a course has.
const (
	spanSeconds = 10
	mostSpans   = 60
)

// ledger is the latest picture with the version at which each part of it last
// changed. What a page lacks is then what has changed since the version it has,
// however long it was away, and nothing is kept for any one page. Its memory is
// that of one picture.
type ledger struct {
	mu      sync.Mutex
	epoch   string // of this run of the server: versions of another mean nothing
	version uint64
	berths  map[string]*berthEntry

	alarmLog uint64 // position of the alarm log
	alarmsAt uint64 // version
}

// berthEntry is one berth and the versions of its parts.
type berthEntry struct {
	picture *hawserv1.BerthPicture // that the rest was made of
	frame   frameWire
	frameAt uint64
	now     nowWire
	nowAt   uint64
	loss    lossWire
	lossAt  uint64
	lines   []lineEntry
}

type lineEntry struct {
	load   loadWire
	loadAt uint64
	spans  []spanEntry // by number, rising
}

type spanEntry struct {
	span spanWire
	at   uint64
}

func newLedger() *ledger {
	return &ledger{epoch: strconv.FormatUint(rand.Uint64(), 36), berths: map[string]*berthEntry{}}
}

// take enters the present picture; mu is held.
func (l *ledger) take(pictures []*hawserv1.BerthPicture, losses map[string]*hawserv1.BerthLosses, alarmLog uint64) {
	l.version++
	if l.alarmLog != alarmLog || l.alarmsAt == 0 {
		l.alarmLog, l.alarmsAt = alarmLog, l.version
	}
	there := make(map[string]bool, len(pictures))
	for _, p := range pictures {
		there[p.Berth] = true
		e := l.berths[p.Berth]
		if e == nil {
			e = &berthEntry{}
			l.berths[p.Berth] = e
		}
		if e.picture != p {
			e.take(p, l.version)
		}
		if loss := worstLoss(p, losses[p.Berth]); !loss.equal(&e.loss) || e.lossAt == 0 {
			e.loss, e.lossAt = loss, l.version
		}
	}
	for name := range l.berths {
		if !there[name] {
			delete(l.berths, name)
		}
	}
}

// take enters a berth's picture.
func (e *berthEntry) take(p *hawserv1.BerthPicture, version uint64) {
	frame := frameOf(p)
	if !frame.same(&e.frame) {
		*e = berthEntry{frame: frame, frameAt: version, lines: make([]lineEntry, len(p.Lines))}
	}
	e.picture = p
	if now := nowOf(p); now != e.now || e.nowAt == 0 {
		e.now, e.nowAt = now, version
	}
	for i, l := range p.Lines {
		e.lines[i].take(p, l, version)
	}
}

func (e *lineEntry) take(p *hawserv1.BerthPicture, l *hawserv1.LinePicture, version uint64) {
	if load := loadOf(p, l); load != e.load || e.loadAt == 0 {
		e.load, e.loadAt = load, version
	}
	old := e.spans
	e.spans = make([]spanEntry, 0, mostSpans)
	for _, span := range finished(p, l) {
		for len(old) > 0 && old[0].span[0].v < span[0].v {
			old = old[1:]
		}
		if len(old) > 0 && old[0].span == span {
			e.spans = append(e.spans, old[0])
		} else {
			e.spans = append(e.spans, spanEntry{span, version})
		}
	}
}

// since adds what changed of a berth after a version, nil for nothing. Version 0
// is all of it; courses are left out where they are not wanted.
func (e *berthEntry) since(version uint64, courses bool) *berthWire {
	w, some := &berthWire{}, false
	if e.frameAt > version {
		w.Frame, some = &e.frame, true
	}
	if e.nowAt > version {
		now := e.now
		w.Now, some = &now, true
	}
	if e.lossAt > version {
		loss := e.loss
		w.Loss, some = &loss, true
	}
	for i := range e.lines {
		line, id := &e.lines[i], e.frame.Lines[i].ID
		if line.loadAt > version {
			if w.Loads == nil {
				w.Loads = make(map[string]loadWire, len(e.lines))
			}
			w.Loads[id], some = line.load, true
		}
		if !courses {
			continue
		}
		for _, s := range line.spans {
			if s.at <= version {
				continue
			}
			if w.Course == nil {
				w.Course = make(map[string][]spanWire, len(e.lines))
			}
			w.Course[id], some = append(w.Course[id], s.span), true
		}
	}
	if !some {
		return nil
	}
	return w
}
