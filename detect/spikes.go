package detect

import "math"

// A spike is one reading far from both its neighbours, which agree with each other, or
// one outside what a line can carry. A line that snatches can look so at a slow rate;
// but then the ship moves and other lines jump too: a spike counts only where no other
// line has one within the same second or two.
const (
	spikesToRaise = 3
	spikesSpan    = 60 * second
	spikeLeast    = 0.08 // of MBL
	spikeWait     = 3 * second / 2
)

// spike tests the reading before this one: readings came as a, x, now v.
func (p *pin) spike(a, x, v float64, at int64) {
	if lift := x - (a+v)/2; math.Abs(lift) >= spikeLeast*p.MBL && math.Abs(v-a) <= math.Abs(lift)/4 {
		p.SpikeAt, p.Spike = at, x
	}
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
