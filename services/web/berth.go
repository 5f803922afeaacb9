package web

import (
	"math"
	"slices"

	hawserv1 "hawser/proto/hawser/v1"
)

// frameOf is what stays of a berth's picture.
func frameOf(p *hawserv1.BerthPicture) frameWire {
	f := frameWire{Ship: p.Ship, Lines: make([]lineFrame, len(p.Lines)),
		Near: exactly(p.ApproachFraction), Uneven: exactly(p.ImbalanceRatio), Floor: exactly(p.ImbalanceFloor)}
	for i, l := range p.Lines {
		f.Lines[i] = lineFrame{ID: l.Line, Group: l.Group, MBL: exactly(l.MblKn), Limit: to(1, &l.WorkingLoadKn),
			Winch: l.OnWinch, Pin: l.Sensor != hawserv1.SensorState_SENSOR_STATE_NONE}
	}
	return f
}

// lies names how the ship lies, "" where that is not known.
func lies(how hawserv1.OperatingState) string {
	switch how {
	case hawserv1.OperatingState_OPERATING_STATE_MADE_FAST:
		return "fast"
	case hawserv1.OperatingState_OPERATING_STATE_STOOD_DOWN:
		return "down"
	case hawserv1.OperatingState_OPERATING_STATE_LINES_MOVED:
		return "moved"
	}
	return ""
}

// nowOf is the newest of the berth itself.
func nowOf(p *hawserv1.BerthPicture) nowWire {
	n := nowWire{Live: p.Live, At: cameIn(p, p.AgeSeconds), Watch: chosen(p.UnderWatch), Lies: lies(p.Operating),
		Wind: to(1, p.WindSpeedMps), From: to(0, p.WindDirectionDeg), Level: to(2, p.WaterLevelM), Fwd: to(2, p.DraftFwdM), Aft: to(2, p.DraftAftM)}
	if p.NewestReadingAt != nil {
		n.Newest = p.NewestReadingAt.AsTime().UnixMilli()
	}
	return n
}

// loadOf is the newest of one line.
func loadOf(p *hawserv1.BerthPicture, l *hawserv1.LinePicture) loadWire {
	w := loadWire{KN: to(1, l.TensionKn), At: cameIn(p, l.AgeSeconds), Sensor: sensorName(l.Sensor), Payout: to(2, l.PayoutM), Brake: chosen(l.BrakeSet),
		Shown: to(0, l.PartingShownFromKn), Hidden: math.IsInf(l.GetPartingShownFromKn(), 1)}
	if l.Sensor == hawserv1.SensorState_SENSOR_STATE_GOOD {
		w.Rate = rate(finished(p, l))
	}
	return w
}

// cameIn is when something came in, by its age when the picture was drawn. Tenths
// of a second: ages are reckoned in floating point.
func cameIn(p *hawserv1.BerthPicture, age *float64) int64 {
	if age == nil {
		return 0
	}
	at := float64(p.DrawnAt.AsTime().UnixMilli()) - *age*1000
	return int64(at/100+0.5) * 100
}

// finished are the spans of a line's course that are over, oldest first.
func finished(p *hawserv1.BerthPicture, l *hawserv1.LinePicture) []spanWire {
	if p.NewestReadingAt == nil {
		return nil
	}
	newest := p.NewestReadingAt.AsTime().Unix()
	out := make([]spanWire, 0, len(l.Course))
	for _, c := range l.Course {
		if int64(c.SecondsAgo) < spanSeconds {
			continue // goes on
		}
		kN := func(v float32) number { w := float64(v); return to(1, &w) }
		out = append(out, spanWire{exactly(float64((newest - int64(c.SecondsAgo)) / spanSeconds)), kN(c.MinKn), kN(c.MeanKn), kN(c.MaxKn)})
	}
	return out
}

// worstLoss is the loss of a line that would load another worst against its
// working load limit, or leave the ship unheld.
func worstLoss(p *hawserv1.BerthPicture, all *hawserv1.BerthLosses) lossWire {
	var worst lossWire
	for _, l := range all.GetLosses() {
		if !l.Converged || !l.Holds {
			return lossWire{Lost: l.Lost, Adrift: true, Parts: l.Cascade}
		}
		i := slices.IndexFunc(p.Lines, func(of *hawserv1.LinePicture) bool { return of.Line == l.Worst.GetLine() })
		if i < 0 || p.Lines[i].WorkingLoadKn <= 0 {
			continue
		}
		if share := l.Worst.TensionKn / p.Lines[i].WorkingLoadKn; worst.Lost == nil || share > worst.Share.v {
			worst = lossWire{Lost: l.Lost, Line: l.Worst.Line, KN: to(0, &l.Worst.TensionKn), Share: to(2, &share), Parts: l.Cascade}
		}
	}
	return worst
}

func (l *lossWire) equal(o *lossWire) bool {
	return l.Line == o.Line && l.KN == o.KN && l.Share == o.Share && l.Adrift == o.Adrift && slices.Equal(l.Lost, o.Lost) && slices.Equal(l.Parts, o.Parts)
}
