package web

import (
	"fmt"

	hawserv1 "hawser/proto/hawser/v1"
)

// wholeRecord is one line's record as its template has it.
type wholeRecord struct {
	lineOfShip
	Ship, Berth string
	Read        string // hours
	First, Last moment
	Bands       []bandOfRecord
	Peaks       []peakOfRecord
	Ranges      []rangeOfRecord
	Curve       *curveOfRecord
	Visits      []visitOfRecord // the newest
	Renderings  []renderingOfRecord
	Told        []toldOfRecord
}

// bandOfRecord is a tenth of MBL: how long the load was in it, as a bar of at most 100
// too, and how often it rose to its lower end.
type bandOfRecord struct{ From, To, Hours, Bar, Times string }

type peakOfRecord struct {
	At          moment
	Load, Share string
}

// rangeOfRecord is how many cycles have at least a range of MBL.
type rangeOfRecord struct{ Least, Cycles string }

type curveOfRecord struct {
	Name, Source    string // en-GB
	Factor, Weighed string // the design factor, and the sum times it
}

type visitOfRecord struct {
	Berth       string
	First, Last moment
}

type renderingOfRecord struct {
	At     moment
	Metres string
}

// toldOfRecord is what somebody put on record about the rope.
type toldOfRecord struct {
	Turned        bool // end for end; else another was fitted
	Done          moment
	By, Note      string
	Hours, Cycles string // until then
}

// ranges are those of LineRecord.cycles_above, shares of MBL.
var ranges = [...]float64{0.05, 0.1, 0.2, 0.3, 0.5}

func wholeRecordOf(w *words, l *hawserv1.LineRecord) *wholeRecord {
	x := &wholeRecord{lineOfShip: rowOf(w, l), Ship: l.Ship, Berth: l.Berth, Read: w.figure("%.1f", l.HoursRead)}
	if l.FirstAt != nil {
		x.First, x.Last = stamp(l.FirstAt.AsTime()), stamp(l.LastAt.AsTime())
	}
	most := 0.0
	for _, h := range l.HoursInBand {
		most = max(most, h)
	}
	for i, h := range l.HoursInBand {
		b := bandOfRecord{From: w.percent(0, float64(i)/10), Hours: w.figure("%.2f", h), Bar: fmt.Sprintf("%.2f", 100*h/max(most, 1e-9))}
		if i+1 < len(l.HoursInBand) {
			b.To = w.percent(0, float64(i+1)/10)
		}
		if i > 0 && i <= len(l.TimesAbove) {
			b.Times = w.figure("%.0f", l.TimesAbove[i-1])
		}
		x.Bands = append(x.Bands, b)
	}
	for _, p := range l.Peaks {
		x.Peaks = append(x.Peaks, peakOfRecord{stamp(p.At.AsTime()), w.figure("%.0f", p.LoadKn), w.percent(0, p.ShareOfMbl)})
	}
	for i, n := range l.CyclesAbove {
		x.Ranges = append(x.Ranges, rangeOfRecord{w.percent(0, ranges[i]), w.figure("%.0f", n)})
	}
	if m := l.Miner; m != nil {
		x.Curve = &curveOfRecord{m.Curve, m.Source, w.figure("%g", m.DesignFactor), w.sum(m.Sum * m.DesignFactor)}
	}
	for _, s := range l.RecentStays {
		x.Visits = append(x.Visits, visitOfRecord{s.Berth, stamp(s.FirstAt.AsTime()), stamp(s.LastAt.AsTime())})
	}
	for _, r := range l.RecentRenderings {
		x.Renderings = append(x.Renderings, renderingOfRecord{stamp(r.At.AsTime()), w.figure("%.2f", r.Metres)})
	}
	for _, e := range l.Events {
		x.Told = append(x.Told, toldOfRecord{e.Kind == hawserv1.RopeEventKind_ROPE_EVENT_KIND_END_FOR_ENDED, stamp(e.DoneAt.AsTime()), e.By, e.Note,
			w.figure("%.1f", e.HoursUnderLoad), w.figure("%.0f", e.Cycles)})
	}
	return x
}
