package live

import (
	"math"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
)

// redraw is the age from which a picture is drawn again for its ages alone.
const redraw = 500 * time.Millisecond

// picture draws the berth as it is. Viewers that ask at the same time share it.
func (b *berth) picture(now time.Time, stale time.Duration) *hawserv1.BerthPicture {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fresh && now.Sub(b.drawnAt) < redraw {
		return b.drawn
	}
	p := &hawserv1.BerthPicture{
		Berth: b.name, Ship: b.plan.Ship.Name,
		Live:             !b.received.IsZero() && now.Sub(b.received) < stale,
		AgeSeconds:       age(b.received, now),
		WindSpeedMps:     b.values[reading.WindSpeed].number(),
		WindDirectionDeg: b.values[reading.WindDirection].number(),
		WaterLevelM:      b.values[reading.WaterLevel].number(),
		DraftFwdM:        b.values[reading.DraftFwd].number(),
		DraftAftM:        b.values[reading.DraftAft].number(),
		UnderWatch:       b.values[reading.UnderWatch].state(),
		Operating:        b.how,
		DrawnAt:          timestamppb.New(now),
		ApproachFraction: b.plan.Limits.ApproachFraction,
		ImbalanceRatio:   b.plan.Limits.ImbalanceRatio,
		ImbalanceFloor:   float64(b.plan.Limits.ImbalanceFloor),
	}
	if b.newest != 0 {
		p.NewestReadingAt = timestamppb.New(time.Unix(0, b.newest))
	}
	for i := range b.lines {
		p.Lines = append(p.Lines, b.linePicture(i, p.Live, now))
	}
	b.fresh, b.drawn, b.drawnAt = true, p, now
	return p
}

func (b *berth) linePicture(i int, isLive bool, now time.Time) *hawserv1.LinePicture {
	l, plan := &b.lines[i], &b.plan.Lines[i]
	p := &hawserv1.LinePicture{
		Line: plan.ID, Group: plan.Group.String(), OnWinch: plan.MadeFast == mooring.Winch,
		MblKn: plan.MBLkN, WorkingLoadKn: b.plan.WorkingLoadKN(i),
		Sensor: b.sensor(i, now), AgeSeconds: age(l.tension.received, now),
		TensionKn: l.tension.number(), PayoutM: l.payout.number(), BrakeSet: l.brake.state(),
		Course: l.course.points(b.newest),
	}
	if isLive && !math.IsNaN(l.shownFrom) { // of what nobody hears nothing is told
		p.PartingShownFromKn = proto.Float64(l.shownFrom)
	}
	return p
}

// age is the time since readings came in, nil where none did.
func age(received, now time.Time) *float64 {
	if received.IsZero() {
		return nil
	}
	s := max(0, now.Sub(received).Seconds())
	return &s
}

// number is the value, nil where there is none.
func (v *value) number() *float64 {
	if !v.known() {
		return nil
	}
	n := v.v
	return &n
}

// state is the value as yes or no, nil where there is none.
func (v *value) state() *bool {
	if !v.known() {
		return nil
	}
	on := v.v >= 0.5
	return &on
}
