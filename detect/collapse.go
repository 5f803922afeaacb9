package detect

import "math"

// A collapse is the fall of a load to nothing. The shares of the load are common
// practice, no source.
const (
	collapseTicks    = 13                         // in which the load is gone
	recentSlackTicks = 60 * int64(ticksPerSecond) // a line that was slack within this time snatches
	snatchTicks      = 43                         // before a fall; a load that came up in them has snatched
	maxFallTicks     = 5                          // from 0.8 to 0.3 of the load, most of a line that parts
	strokeFallTicks  = 3                          // the same; a slower fall is not at a stroke
	slideTicks       = 15                         // from 0.8 to 0.3 of the recent peak, most where the rest was slow too
	drumShare        = 0.6                        // of the stretch by the load before
	drumLeastShare   = 0.25                       // of it, least; a drum that ran no further did not take the load
	drumReadTicks    = 23                         // from the beginning of a fall, in which its drum's readings show how far it ran
	drumReadAfter    = second / 2                 // the same, from which one shows that it stood
	expectedShare    = 0.6                        // of the load; least that the other lines expect yet
	goneShare        = 0.3                        // of the load before; most of a load that is gone
	minOwnLoss       = 0.5                        // of the load; least that goes beyond what the ship took off
	strokeLoss       = 0.8                        // of the load; the same, where nothing else tells a parting from a snatch
	strokeHeld       = 0.6                        // of the load before; least that every other line keeps meanwhile
	easedShare       = 0.4                        // of what the line lost; what the sea takes off another with it
	strokeNoise      = 9                          // times the mean residual; least load, of which noise is no stroke
	strokeResidual   = 0.15                       // of the load; most that the other lines were wrong about it before
	surgedShare      = 0.6                        // of the load; a line that slipped by as much has slipped again
	surgedRecent     = 60 * second                // within this time
)

// collapsed reports whether line i lost its load within collapseTicks while the
// other lines say that it should carry.
func (b *Berth) collapsed(now moment, i int) bool {
	l := &b.state.Lines[i]
	mbl := b.plan.Lines[i].MBLkN
	before, _ := l.loadBefore(now)
	if !(before >= partMinLoad*mbl) || math.Abs(l.Pin.Last) > partZeroLoad*mbl || l.Pin.Last > goneShare*before {
		return false
	}
	if l.Fit.Known && (l.Fit.Expected < expectedShare*l.loadAtFall(now, before) || b.ownLoss(now, i) < minOwnLoss*before) {
		return false
	}
	snatches := l.Parting.UnloadedAt != 0 && now.Tick-l.Parting.UnloadedAt < recentSlackTicks
	if snatches && !b.atOneStroke(now, i, before) {
		return false
	}
	return !l.slid(now, before) && !b.groupEased(now, i) && !b.surgesAgain(now, i, before)
}

// loadBefore is the load collapseTicks ago, kN, or where the pin was silent then the last
// before that, and how many ticks ago it was; NaN where none is kept.
func (l *line) loadBefore(now moment) (load float64, ago int64) {
	for ago = collapseTicks; ago < tickHistory; ago++ {
		if load = l.loadAgo(now, ago); !math.IsNaN(load) {
			return load, ago
		}
	}
	return missing, 0
}

// loadAtFall is the last load of those ticks that was still most of the load before, kN: a
// swell may have been taking it off.
func (l *line) loadAtFall(now moment, before float64) float64 {
	for n := range int64(collapseTicks) {
		if v := l.loadAgo(now, n); v >= expectedShare*before {
			return v
		}
	}
	return before
}

// slid reports whether a load that is now gone came down all the way from its recent peak
// as no parting line's does, however it went on at last.
func (l *line) slid(now moment, load float64) bool {
	return l.fallTicks(now, load) > maxFallTicks+l.Pin.intervalTicks() && l.fallTicks(now, l.recentPeak(now)) > slideTicks
}

// drumTook reports whether line i's drum has paid out since the fall what a slip does, or
// most of what the load had stretched the line by. A drum that was read since the load was
// gone, and had run by no more than a small part of that stretch, did not take the load.
func (b *Berth) drumTook(i int) bool {
	p, d, slip := &b.state.Lines[i].Parting, &b.state.Lines[i].Drum, b.plan.Limits.SlipM
	stretch, _ := b.models[i].stretch(p.LoadBefore)
	ran := d.PaidOut - p.PaidOutBefore
	if ran <= max(slip/2, min(drumShare*stretch, slip)) {
		return false
	}
	readSince := d.PrevAt[1] >= (p.fallTick()+collapseTicks)*tickLength
	return !readSince || max(ran, d.Prev[1]-p.PaidOutBefore) >= drumLeastShare*stretch
}

// drumStood reports whether line i's drum was read since its load fell and has not run, or
// is not read at all.
func (b *Berth) drumStood(now moment, i int) bool {
	p, d := &b.state.Lines[i].Parting, &b.state.Lines[i].Drum
	return !b.hasPayout(now, i) || d.PrevAt[1] >= p.FirstTest*tickLength+drumReadAfter && d.Prev[1]-p.PaidOutBefore < b.plan.Limits.SlipM/2
}

// surgesAgain reports whether line i lost this load as it lost about as much a moment
// before: a rope that surges on its bitts holds less each time, and at last nothing. What
// it then does to the ship is what a parting does; the slip tells of it.
func (b *Berth) surgesAgain(now moment, i int, load float64) bool {
	loss := &b.state.Lines[i].LoadLoss
	if b.hasPayout(now, i) {
		return false
	}
	if loss.SlippedAt != 0 && now.Time-loss.SlippedAt < surgedRecent && loss.SlippedBy >= surgedShare*load {
		return true
	}
	const falling, since = 2, 2 // s; this fall itself, and from the one before
	drop, ok := loss.sudden(now.Time/second-falling, since)
	return ok && loss.Known && drop >= max(loss.Threshold, surgedShare*load)
}

// ownLoss is the load that line i lost in collapseTicks beyond what the other lines
// say that the ship took off it, kN. Its residual before is taken as none where it is
// not known.
func (b *Berth) ownLoss(now moment, i int) float64 {
	l := &b.state.Lines[i]
	loss := -l.Fit.Residual
	if before := l.Residuals[(now.Tick-collapseTicks)%tickHistory]; !math.IsNaN(before) {
		loss += before
	}
	return loss
}

// atOneStroke reports whether the other lines vouch for it that line i lost this load by
// itself and at a stroke, however it swung before: they knew what it carried until then,
// and held on to most of their own. A swell that lets lines go slack lets go several.
func (b *Berth) atOneStroke(now moment, i int, load float64) bool {
	l := &b.state.Lines[i]
	for k := range b.state.Lines {
		if k == i || !b.monitored(now, k) {
			continue
		}
		if before := b.state.Lines[k].loadAgo(now, collapseTicks); before >= partMinLoad*b.plan.Lines[k].MBLkN && b.state.Lines[k].Pin.Last < strokeHeld*before {
			return false
		}
	}
	before := l.Residuals[(now.Tick-collapseTicks)%tickHistory]
	return l.Fit.Known && load >= strokeNoise*l.Fit.Noise && math.Abs(before) < strokeResidual*load && b.ownLoss(now, i) >= strokeLoss*load &&
		l.Pin.Interval <= strokeMaxInterval && l.fallTicks(now, load) <= l.strokeTicks()
}

// groupEased reports whether another line of line i's group lost most of its load in about
// the time in which line i lost its own, and one of the two not at a stroke. Then the ship
// came in: a line that parts leaves its load to such a line.
func (b *Berth) groupEased(now moment, i int) bool {
	own := &b.state.Lines[i]
	slow := own.fallTicks(now, own.recentPeak(now)) > own.strokeTicks()
	for k := range b.state.Lines {
		l := &b.state.Lines[k]
		if k == i || b.plan.Lines[k].Group != b.plan.Lines[i].Group || !b.monitored(now, k) {
			continue
		}
		peak := l.recentPeak(now)
		if peak >= partMinLoad*b.plan.Lines[k].MBLkN && l.Pin.Last <= goneShare*peak && (slow || l.fallTicks(now, peak) > l.strokeTicks()) {
			return true
		}
	}
	return false
}

// othersEased reports whether two other lines lost easedShare as much as line i in the
// same time, of MBL: the sea took it off them all. A line that parts leaves them more.
func (b *Berth) othersEased(now moment, i int) bool {
	lost := func(k int) float64 {
		l := &b.state.Lines[k]
		return (l.loadAgo(now, collapseTicks) - l.Pin.Last) / b.plan.Lines[k].MBLkN
	}
	eased, own := 0, lost(i)
	for k := range b.state.Lines {
		if k != i && b.monitored(now, k) && lost(k) >= easedShare*own {
			eased++
		}
	}
	return eased >= 2
}

// strokeTicks is the most that fallTicks is of a fall at a stroke, as the line's pin
// shows it.
func (l *line) strokeTicks() int64 { return strokeFallTicks + l.Pin.intervalTicks() }

// fallStart looks back for the tick at which a load that is now gone began to fall,
// and the load before, kN. The pin's median shows a fall one reading late. In a silence of
// the pin it may have begun at once.
func (l *line) fallStart(now moment) (tick int64, load float64) {
	load, ago := l.loadBefore(now)
	if ago > collapseTicks {
		return now.Tick - ago, load
	}
	for n := int64(collapseTicks); n > 0; n-- {
		v := l.loadAgo(now, n-1)
		if !math.IsNaN(v) && v < 0.85*load {
			return now.Tick - n + 1 - l.Pin.intervalTicks(), load
		}
		if v > load {
			load = v
		}
	}
	return now.Tick - l.Pin.intervalTicks(), load
}

// fallTicks is how many ticks a load that is now gone took from 0.8 to 0.3 of what it
// was.
func (l *line) fallTicks(now moment, load float64) (ticks int64) {
	for n := range int64(snatchTicks) {
		if v := l.loadAgo(now, n); v >= 0.8*load {
			break
		} else if v > goneShare*load || ticks > 0 {
			ticks++
		}
	}
	return ticks
}

// recentPeak is the greatest load of the ticks over which fallTicks looks, kN.
func (l *line) recentPeak(now moment) (peak float64) {
	for n := range int64(snatchTicks) {
		if v := l.loadAgo(now, n); v > peak {
			peak = v
		}
	}
	return peak
}

// leastLoad is the least load of the ticks that are kept, kN.
func (l *line) leastLoad() float64 {
	low := math.Inf(1)
	for _, v := range l.Loads {
		if v < low {
			low = v
		}
	}
	return low
}

// minLoad is the least load from n ticks ago until collapseTicks ago, kN.
func (l *line) minLoad(now moment, n int64) float64 {
	low := math.Inf(1)
	for ; n > collapseTicks; n-- {
		if v := l.loadAgo(now, n); v < low {
			low = v
		}
	}
	return low
}
