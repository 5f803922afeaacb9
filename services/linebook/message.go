package linebook

import (
	"cmp"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	hawserv1 "hawser/proto/hawser/v1"
)

// caveats go with every answer.
func caveats() []string {
	return []string{
		"A service record is evidence, not permission: no figure here says that a line is sound. Inspect and retire lines by the ship's line management plan and the maker's limits.",
		"A Miner sum counts tension alone, by a curve for new rope of good make; the scatter in life from rope to rope is a factor of ten. Bending at fairlead and drum, chafe, heat, sunlight, salt, shock and knots are not in it, and may matter more.",
		"Temperature and wetness are not measured: heat in fibre ropes and wet polyamide are not allowed for beyond the curve.",
		"Only what a load pin told while this server had its readings is in a record; tails are not counted apart from their lines.",
	}
}

func hours(span int64) float64 { return float64(span) / float64(time.Hour) }

// stamp is a time of a reading on the wire, unset for none.
func stamp(at int64) *timestamppb.Timestamp {
	if at == 0 {
		return nil
	}
	return timestamppb.New(time.Unix(0, at))
}

// cycleRanges are the ranges of LineRecord.cycles_above, shares of MBL.
var cycleRanges = [...]float64{0.05, 0.1, 0.2, 0.3, 0.5}

// message is a record as its message, with what is open counted as if it ended now.
func (b *Book) message(s *ship, r *Record, berth string, cells bool) *hawserv1.LineRecord {
	all := r.Cycles.Clone()
	r.Counter.Rest(all)
	above, wll := r.Above, r.WLLTimes
	if point, ok := r.Counter.Turning.Open(); ok && r.HasTurn {
		r.leg(r.Turned, point, above[:], wll[:])
	}
	curve := b.curve(r.Material)
	m := &hawserv1.LineRecord{
		Ship: s.Name, Berth: berth, Line: r.Line, Group: r.Group.String(), Rope: r.Rope, Fitting: uint32(r.Fitting), InUse: r.At != "",
		Material: r.Material.String(), MblKn: r.MBLkN, WorkingLoadShare: r.WLL,
		FirstAt: stamp(r.First), LastAt: stamp(r.Last), Stays: uint32(r.Stays),
		HoursRead: hours(r.ReadFor), HoursUnderLoad: hours(r.UnderFor), HoursAboveWorkingLoad: hours(r.WLLFor),
		TimesAboveWorkingLoad: float64(wll[0]),
		Cycles:                all.Cycles(0),
		Miner: &hawserv1.MinerSum{Sum: all.Damage(&curve), Curve: curve.Name, M: curve.M, LogK: curve.LogK, MeanSlope: curve.MeanSlope,
			Source: curve.Source, DesignFactor: curve.DesignFactor, StandIn: curve.StandIn},
		Slips: r.Slips, SnapLoads: r.Snaps, OverLimits: r.OverLimits, Partings: r.Partings,
		RenderedM: r.Winch.Metres, Renderings: r.Winch.Times,
		Quality: r.quality(s),
	}
	for _, span := range r.BandFor {
		m.HoursInBand = append(m.HoursInBand, hours(span))
	}
	for _, n := range above {
		m.TimesAbove = append(m.TimesAbove, float64(n))
	}
	for _, least := range cycleRanges {
		m.CyclesAbove = append(m.CyclesAbove, all.Cycles(least))
	}
	if cells {
		for _, c := range all.Cells {
			n := float64(c.Halves)
			m.Cells = append(m.Cells, &hawserv1.CycleCell{Range: c.Range / n, Mean: c.Mean / n, Cycles: n / 2})
		}
	}
	r.lists(m)
	return m
}

// lists puts in what a record has of each kind.
func (r *Record) lists(m *hawserv1.LineRecord) {
	for _, stay := range r.Recent {
		m.RecentStays = append(m.RecentStays, &hawserv1.LineStay{Berth: stay.Berth, FirstAt: stamp(stay.First), LastAt: stamp(stay.Last)})
	}
	for _, p := range r.Peaks {
		m.Peaks = append(m.Peaks, &hawserv1.PeakLoad{At: stamp(p.At), LoadKn: p.KN, ShareOfMbl: p.Share})
	}
	for _, p := range r.Winch.Recent {
		m.RecentRenderings = append(m.RecentRenderings, &hawserv1.Rendering{At: stamp(p.At), Metres: p.M})
	}
	for _, e := range r.Events {
		m.Events = append(m.Events, &hawserv1.RopeEvent{Kind: hawserv1.RopeEventKind(e.Kind), DoneAt: timestamppb.New(e.Done), RecordedAt: timestamppb.New(e.Recorded),
			By: e.By, Role: e.Role, Note: e.Note, HoursUnderLoad: hours(e.UnderFor), Cycles: e.Cycles})
	}
}

func (r *Record) quality(s *ship) *hawserv1.DataQuality {
	fault := r.FaultFor
	if r.FaultSince != 0 {
		fault += max(r.Last-r.FaultSince, 0)
	}
	return &hawserv1.DataQuality{Readings: float64(r.Readings), Bad: float64(r.Bad), OutOfRange: float64(r.OutOfRange), Late: float64(r.Late),
		Gaps: float64(r.Gaps), GapHours: hours(r.GapFor), SensorFaults: r.Faults, SensorFaultHours: hours(fault),
		CutRanges: float64(r.Counter.Cut), Uncertain: s.Uncertain}
}

// list gives a ship's records: those in use in the order of the plan, the newest of
// the others first.
func (b *Book) list(s *ship, o Query) []*hawserv1.LineRecord {
	var here *berth
	for _, at := range b.berths {
		if at.ship == s && (here == nil || at.name < here.name) {
			here = at
		}
	}
	var records []*Record
	name := ""
	if here != nil {
		records, name = slices.Clone(here.lines), here.name
	}
	var rest []*Record
	for _, r := range s.Records {
		if !slices.Contains(records, r) && (here == nil && r.At != "" || o.Retired) {
			rest = append(rest, r)
		}
	}
	if here != nil {
		slices.SortStableFunc(rest, func(a, b *Record) int { return cmp.Compare(b.Last, a.Last) })
	}
	var out []*hawserv1.LineRecord
	for _, r := range append(records, rest...) {
		out = append(out, b.message(s, r, name, o.Cells))
	}
	return out
}
