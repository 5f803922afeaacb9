package detect

import "math"

// A spike is one reading far from both its neighbours, which agree with each other, or
// one outside what a line can carry. A line that snatches can look so at a slow rate, and
// one in a short sea: a spike stands out from how readings usually differ from their
// neighbours, and counts only where no other line has one within the same second or two.
const (
	spikesToRaise = 3
	spikesSpan    = 60 * second
	spikeLeast    = 0.08 // of MBL
	spikeWait     = 3 * second / 2
	spikeStands   = 4     // times the usual difference
	liftReadings  = 60    // over which that is estimated
	liftLeast     = 0.005 // of MBL
)

// spike tests the reading before this one: readings came as a, x, now v.
func (p *pin) spike(a, x, v float64, at int64) {
	lift := math.Abs(x - (a+v)/2)
	if lift >= max(spikeLeast*p.MBL, spikeStands*p.UsualLift) && math.Abs(v-a) <= lift/4 {
		p.SpikeAt, p.Spike = at, x
	}
	// limited above, so that spikes do not become usual, and below, so that it can grow
	usual := max(p.UsualLift, liftLeast*p.MBL)
	p.UsualLift = usual + (min(lift, 2*usual)-usual)/liftReadings
}

// spikes counts the spikes that no other line has had by now.
func (b *Berth) spikes(now moment) {
	for i := range b.state.Lines {
		p := &b.state.Lines[i].Pin
		if p.SpikeAt == 0 || now.Time-p.SpikeAt < spikeWait {
			continue
		}
		alone := true
		for k := range b.state.Lines {
			o := &b.state.Lines[k].Pin
			if k != i && (near(o.SpikeAt, p.SpikeAt) || near(o.PrevSpikeAt, p.SpikeAt)) {
				alone = false
			}
		}
		if alone {
			p.Spikes[p.SpikeCount%spikesToRaise] = p.SpikeAt
			p.SpikeCount++
		}
		p.PrevSpikeAt, p.SpikeAt = p.SpikeAt, 0
	}
}

// near reports whether two spikes came at about the same time.
func near(a, b int64) bool { return a != 0 && a-b <= spikeWait && b-a <= spikeWait }

// spiking reports whether the last spikes came close enough together.
func (p *pin) spiking(now moment) bool {
	return p.SpikeCount >= spikesToRaise && now.Time-p.Spikes[p.SpikeCount%spikesToRaise] <= spikesSpan
}
