package reckon

import (
	"maps"
	"math"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// message is the answer as its message.
func (a *asked) message(x *assess.Answer) *hawserv1.AssessResponse {
	c, w, m := &a.conditions, &a.waters, a.question.Mooring
	out := &hawserv1.AssessResponse{
		Converged: x.Found, HeldShare: 1, MeasuredLines: uint32(a.measured), LoadsOverSeconds: uint32(a.over),
		Current:     &hawserv1.Current{SpeedMps: c.CurrentMS, SetDeg: c.CurrentSetDeg},
		WaterLevelM: w.LevelM, DraftFwdM: w.DraftFwdM, DraftAftM: w.DraftAftM,
		Force: force(m.Force(a.question.Conditions)), Unexplained: force(a.unexplained),
	}
	if !a.untold() {
		out.Wind = &hawserv1.Wind{SpeedMps: c.WindMS, FromDeg: c.WindFromDeg}
	}
	if !x.Found {
		out.HeldShare = x.HeldShare
		return out
	}
	pose := x.State.Pose
	out.Displacement = &hawserv1.Displacement{SurgeM: pose.SurgeM, SwayM: pose.SwayM, YawDeg: pose.YawRad * 180 / math.Pi}
	for i, kN := range x.State.TensionKN {
		out.Lines = append(out.Lines, &hawserv1.AssessedLine{
			Line: a.plan.Lines[i].ID, TensionKn: kN, ShareOfMbl: m.Share(&x.State, i), Limit: limit(m, i, kN),
			LowKn: x.Spread.LowKN[i], HighKn: x.Spread.HighKN[i], StoredKj: m.Stored(&x.State, i).EnergyKJ(),
		})
	}
	for i, kN := range x.State.FenderKN {
		out.Fenders = append(out.Fenders, &hawserv1.FenderLoad{XM: a.plan.Fenders[i].XM, ForceKn: kN})
	}
	out.Losses = losses(m, x.Losses)
	for k := range x.Wind {
		out.WindLimits = append(out.WindLimits, windLimit(a.plan, &x.Wind[k]))
	}
	if x.Advice != nil {
		settles := x.Advice.Settles()
		out.Settles = &settles
		for _, do := range x.Advice.Actions {
			l := &a.plan.Lines[do.Line]
			out.Actions = append(out.Actions, &hawserv1.WinchAction{Line: l.ID, PayOutM: do.PayOut, FromKn: do.FromKN, ToKn: do.ToKN,
				OnWinch: l.MadeFast == mooring.Winch})
		}
		for _, i := range slices.Sorted(maps.Keys(a.alone)) {
			out.LeftAlone = append(out.LeftAlone, &hawserv1.LeftAlone{Line: a.plan.Lines[i].ID, Reason: a.alone[i]})
		}
	}
	if x.Outlook != nil {
		ahead(out, a.plan, x.Outlook)
	}
	return out
}

func force(f mooring.Force) *hawserv1.ShipForce {
	return &hawserv1.ShipForce{SurgeKn: f.SurgeKN, SwayKn: f.SwayKN, YawKnm: f.YawKNm}
}

// limit is one above the core's: the schema's 0 says nothing.
func limit(m *assess.Mooring, i int, kN float64) hawserv1.LoadLimit {
	return hawserv1.LoadLimit(m.Limit(i, kN)) + hawserv1.LoadLimit_LOAD_LIMIT_BELOW
}

func ids(p *mooring.Plan, lines []int) []string {
	var out []string
	for _, i := range lines {
		out = append(out, p.Lines[i].ID)
	}
	return out
}

func losses(m *assess.Mooring, all []assess.Loss) []*hawserv1.LossOfLines {
	p := m.Plan()
	var out []*hawserv1.LossOfLines
	for k := range all {
		l := &all[k]
		x := &hawserv1.LossOfLines{Lost: ids(p, l.Lost), Converged: l.Found, Renders: ids(p, l.Renders), Cascade: ids(p, l.Cascade), Holds: l.Holds}
		if l.Found {
			kN := l.First.TensionKN[l.Worst]
			x.Worst = &hawserv1.LineLoad{Line: p.Lines[l.Worst].ID, TensionKn: kN, ShareOfMbl: m.Share(&l.First, l.Worst),
				Limit: limit(m, l.Worst, kN), LowKn: l.WorstLowKN, HighKn: l.WorstHighKN}
		}
		out = append(out, x)
	}
	return out
}

func windLimit(p *mooring.Plan, w *assess.WindLimit) *hawserv1.WindLimit {
	threshold := func(t assess.Threshold) *hawserv1.WindThreshold {
		if math.IsInf(t.SpeedMS, 1) {
			return nil
		}
		x := &hawserv1.WindThreshold{SpeedMps: t.SpeedMS}
		if t.Line >= 0 {
			x.Line = p.Lines[t.Line].ID
		}
		return x
	}
	return &hawserv1.WindLimit{FromDeg: w.FromDeg, WorkingLoad: threshold(w.Working), Brake: threshold(w.Brake), Fails: threshold(w.Fails)}
}

func ahead(out *hawserv1.AssessResponse, p *mooring.Plan, o *assess.Outlook) {
	for k := range o.Moments {
		out.Ahead = append(out.Ahead, &hawserv1.MomentAhead{Time: timestamppb.New(o.Moments[k].At), WaterLevelM: o.Moments[k].LevelM, TensionKn: o.TensionKN[k]})
	}
	for _, t := range o.Tend {
		out.Tend = append(out.Tend, &hawserv1.TendingSpan{Line: p.Lines[t.Line].ID, From: timestamppb.New(t.From), To: timestamppb.New(t.To),
			Limit: hawserv1.LoadLimit(t.Reason) + hawserv1.LoadLimit_LOAD_LIMIT_BELOW, LimitAt: timestamppb.New(t.ReachedAt)})
	}
}
