package linebook

import (
	"cmp"
	"slices"
	"time"

	"hawser/detect"
	"hawser/detect/fatigue"
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

const (
	// Gate is the least range that is a cycle, a share of MBL. A load pin's noise and
	// steps are some thousandths of its range (from memory); a cycle of this size
	// does a millionth and less of the damage of one of a tenth.
	Gate = 0.005
	// underLoad is the share of MBL from which a line is under load: the limit of the
	// alarm for a slack line.
	underLoad = 0.02
	// A load pin cannot mean less or more than this, shares of MBL: below is a pin
	// whose zero is off, above the line would have parted.
	leastShare, mostShare = -0.1, 1.5
	// gapAfter is from when on no reading is a gap: as for the alarm.
	gapAfter = int64(10 * time.Second)
	// awayAfter is from when on it is no gap: the line was not in use.
	awayAfter = int64(24 * time.Hour)

	bands = 10 // tenths of MBL; the band after them is of a whole and more

	peaksKept      = 10
	peakApart      = int64(10 * time.Minute)
	staysKept      = 50
	rendersKept    = 20
	eventsKept     = 50
	renderedWithin = int64(time.Minute) // of the last: the same rendering
)

// Peak is a high load.
type Peak struct {
	At    int64   `json:"at"` // Unix nanoseconds
	KN    float64 `json:"kn"`
	Share float64 `json:"share"`
}

// Stay is a spell at a berth; times are of readings, 0 before the first.
type Stay struct {
	Berth string `json:"berth"`
	First int64  `json:"first"`
	Last  int64  `json:"last"`
}

// Record is what a rope, or a line where the rope is not known, has been through.
// Times are Unix nanoseconds of readings, spans are nanoseconds, shares are of MBL.
type Record struct {
	Key     string `json:"key"` // within the ship
	Line    string `json:"line"`
	Rope    string `json:"rope,omitempty"`
	Fitting int    `json:"fitting"`
	At      string `json:"at"` // berth by whose plan it is in use, "" for none

	// Of the newest plan.
	Group    mooring.Group    `json:"group"`
	Material mooring.Material `json:"material"`
	MBLkN    float64          `json:"mbl_kn"`
	WLL      float64          `json:"wll"` // working load limit, share
	SlipM    float64          `json:"slip_m"`

	First int64   `json:"first"`
	Last  int64   `json:"last"`
	Share float64 `json:"share"` // at Last
	Away  bool    `json:"away"`  // no reading yet of this stay

	Stays  int    `json:"stays"`
	Recent []Stay `json:"recent"`

	Readings   uint64 `json:"readings"`
	Bad        uint64 `json:"bad"`
	OutOfRange uint64 `json:"out_of_range"`
	Late       uint64 `json:"late"`
	Gaps       uint64 `json:"gaps"`
	GapFor     int64  `json:"gap_for"`

	ReadFor  int64            `json:"read_for"`
	UnderFor int64            `json:"under_for"`
	WLLFor   int64            `json:"wll_for"`
	BandFor  [bands + 1]int64 `json:"band_for"`
	Above    [bands]uint64    `json:"above"`
	WLLTimes [1]uint64        `json:"wll_times"`
	Peaks    []Peak           `json:"peaks"` // highest first

	Counter fatigue.Counter `json:"counter"`
	Cycles  fatigue.Matrix  `json:"cycles"`
	Turned  float64         `json:"turned"` // newest turning point
	HasTurn bool            `json:"has_turn"`

	Winch Winch `json:"winch"`

	Slips      uint32 `json:"slips"`
	Snaps      uint32 `json:"snaps"`
	OverLimits uint32 `json:"over_limits"`
	Partings   uint32 `json:"partings"`
	Faults     uint32 `json:"faults"`
	FaultFor   int64  `json:"fault_for"`
	FaultSince int64  `json:"fault_since"` // 0 for none

	Events []toldEvent `json:"events"`
}

// set takes over what a plan says of the line that the rope is used as.
func (r *Record) set(p *mooring.Plan, i int) {
	l := &p.Lines[i]
	r.Line, r.Rope, r.At = l.ID, cmp.Or(l.Rope, r.Rope), p.Berth
	r.Group, r.Material, r.MBLkN = l.Group, l.Material, l.MBLkN
	r.WLL, r.SlipM = p.WorkingLoadKN(i)/l.MBLkN, p.Limits.SlipM
}

// arrive begins a stay at a berth, unless it is the one it is at already.
func (r *Record) arrive(berth string, anew bool) {
	if n := len(r.Recent); !anew && n > 0 && r.Recent[n-1].Berth == berth {
		return
	}
	r.Stays++
	r.Recent = keepNewest(append(r.Recent, Stay{Berth: berth}), staysKept)
	r.Away = true
	r.Winch.leave()
}

func keepNewest[T any](all []T, most int) []T {
	return slices.Delete(all, 0, max(0, len(all)-most))
}

// tension takes readings of the load pin.
func (r *Record) tension(s *reading.Series) {
	for i, at := range s.Time {
		switch q := s.QualityAt(i); {
		case q == reading.Late || q == reading.Good && at <= r.Last:
			r.Late++
			continue
		case q != reading.Good:
			r.Bad++
			continue
		}
		share := s.Value[i] / r.MBLkN
		if !(share >= leastShare && share <= mostShare) {
			r.OutOfRange++
			continue
		}
		r.load(at, s.Value[i], max(share, 0))
	}
}

// load takes one good reading.
func (r *Record) load(at int64, kN, share float64) {
	r.spend(at)
	r.Readings++
	r.Last, r.Share = at, share
	if point, ok := r.Counter.Push(share, Gate, &r.Cycles); ok {
		if r.HasTurn {
			r.leg(r.Turned, point, r.Above[:], r.WLLTimes[:])
		}
		r.Turned, r.HasTurn = point, true
	}
	if len(r.Peaks) < peaksKept || share > r.Peaks[peaksKept-1].Share {
		r.peak(Peak{At: at, KN: kN, Share: share})
	}
}

// spend puts the time since the reading before to that reading's load.
func (r *Record) spend(at int64) {
	if r.First == 0 {
		r.First = at
	}
	stay := &r.Recent[len(r.Recent)-1]
	if stay.First == 0 {
		stay.First = at
	}
	stay.Last = at
	took := at - r.Last
	switch {
	case r.Away || took > awayAfter:
		r.Away = false
		return
	case took > gapAfter:
		r.Gaps++
		r.GapFor += took
		return
	}
	r.ReadFor += took
	r.BandFor[min(int(r.Share*bands), bands)] += took
	if r.Share >= underLoad {
		r.UnderFor += took
	}
	if r.Share >= r.WLL {
		r.WLLFor += took
	}
}

// leg counts the levels that the load passes upward.
func (r *Record) leg(from, to float64, above, wll []uint64) {
	fatigue.Crossings(tenths[:], 0, from, to, above)
	fatigue.Crossings([]float64{r.WLL}, 0, from, to, wll)
}

// tenths are the levels of Record.Above.
var tenths = [bands]float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1}

// peak puts a load among the highest. Of loads within peakApart of each other the
// highest stays.
func (r *Record) peak(p Peak) {
	near := func(q Peak) bool { return p.At-q.At < peakApart && q.At-p.At < peakApart }
	if slices.ContainsFunc(r.Peaks, func(q Peak) bool { return near(q) && q.Share >= p.Share }) {
		return
	}
	r.Peaks = slices.DeleteFunc(r.Peaks, near)
	at, _ := slices.BinarySearchFunc(r.Peaks, p, func(q, p Peak) int { return cmp.Compare(p.Share, q.Share) })
	r.Peaks = slices.Insert(r.Peaks, at, p)
	r.Peaks = r.Peaks[:min(len(r.Peaks), peaksKept)]
}

// alarm counts what was raised.
func (r *Record) alarm(e *Event) {
	at := e.Time.UnixNano()
	if e.Condition == detect.SensorFault.String() {
		switch {
		case e.Raised && r.FaultSince == 0:
			r.Faults++
			r.FaultSince = at
		case !e.Raised && r.FaultSince != 0:
			r.FaultFor += max(at-r.FaultSince, 0)
			r.FaultSince = 0
		}
		return
	}
	if !e.Raised {
		return
	}
	switch e.Condition {
	case detect.BrakeSlip.String():
		r.Slips++
	case detect.SnapLoad.String():
		r.Snaps++
	case detect.OverLimit.String():
		r.OverLimits++
	case detect.LineParted.String():
		r.Partings++
	}
}
