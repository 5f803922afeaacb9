package detect

import (
	"fmt"
	"math"

	"hawser/detect/mooring"
)

// redistribution watches for a parting that nobody sees: a line without a load
// pin, or with its pin at fault, lets go, and all there is to it is how the ship
// moves. The loss of one line's pull has a mark of its own: she goes off, ahead
// or astern and swings about a point that depends on where the line led, ever
// further with the square of the time. So every half second her surprises (see
// foresight) from 2, 3.5, 5.5, 8 and 12 s ago until now are held against the move
// that the loss of each unseen line would make:
//
//	likely   the logarithm of the odds of that move against her usual straying is
//	         over unseenOdds, that of the looks of a month: were her surprises as
//	         usual and no two looks alike, chance would tell falsely of a group once
//	         in that time at most, and looks near each other are alike. Where she went
//	         wilder than usual for a while the odds count for less
//	of size  it stands for between 0.4 and 1.5 of the load that line likely has
//	away     its fairlead did go from its hook, by 0.3 of the surprise at least: a
//	         ship that comes in and meets her fenders is pushed off too
//	felt     two lines or more are off by 0.008 of MBL
//	unowned  no line that is measured gave or took of itself, not by the ship's way,
//	         as much as 0.4 of that load in the last 16 s: what moved her is then known
//
// Told for the group of the unseen line, and cleared after 10 min. Source:
// Newton's second law; the figures other than the odds are common practice, no
// source.
const (
	unseenOdds  = 15.5
	unseenBoth  = 1.6 // how much higher for a line whose pin is at fault
	unseenLeast = 0.4
	unseenMost  = 1.5
	unseenFelt  = 0.008 // of MBL
	unseenAway  = 0.3   // of the surprise
	unseenOwn   = 0.4   // of the load
	unseenLate  = 0.5   // s; readings and places lag so far behind, about
	unseenHold  = 2     // looks in a row
	unseenRest  = 600 * int64(perSecond)
)

// unseen is the state of one group.
type unseen struct {
	Looks int32
	Up    int64 // tick at which it was told, 0 for not
}

func (b *Berth) redistribution(now moment) {
	if !looked(now) {
		return
	}
	for g := range b.state.Unseen {
		u := &b.state.Unseen[g]
		if u.Up != 0 && now.Tick-u.Up >= unseenRest {
			u.Up = 0
			b.clear(now, -1, Change{Condition: Redistribution, Group: mooring.Group(g), Unit: "%",
				Detail: fmt.Sprintf("No further jump of the lines about the %s lines was seen.", mooring.Group(g))})
		}
	}
	f := &b.state.Motion.Fore
	if f.Looks <= settleFor+2*furthest || f.Lessons < taught || b.upset(now) || b.state.Watch.Off {
		return
	}
	b.suspect(now)
}

// suspect holds the surprises against every unseen line, and tells the likeliest.
func (b *Berth) suspect(now moment) {
	var tried [mooring.Stern + 1]bool
	var seen [sightCount][joint]float64
	ready := false
	best, who, sight := 0.0, -1, 0
	for i := range b.plan.Lines {
		g := b.plan.Lines[i].Group
		u := &b.state.Unseen[g]
		if tried[g] || u.Up != 0 || !b.hidden(i) {
			continue
		}
		load, ok := b.likelyLoad(now, i)
		if !ok {
			continue
		}
		tried[g] = true
		if !ready {
			ready = true
			for s, h := range sights {
				seen[s] = b.state.Motion.Fore.from(b.state.Motion.Fore.Looks - 1 - h)
				b.usual.white(&seen[s])
			}
		}
		odds, at := b.unseenOdds(i, load, &seen)
		b.weighGroup(UnseenOdds, g, odds, unseenOdds)
		if odds < unseenOdds || !b.away(i, at) || b.owned(unseenOwn*load) {
			u.Looks = 0
			continue
		}
		if u.Looks++; u.Looks >= unseenHold && odds > best {
			best, who, sight = odds, i, at
		}
	}
	if who < 0 {
		return
	}
	felt, worst := b.feel(&b.state.Motion.Fore.Off[sight][(b.state.Motion.Fore.Looks-1)%looksKept])
	if felt < 2 {
		return
	}
	g := b.plan.Lines[who].Group
	u := &b.state.Unseen[g]
	u.Looks, u.Up = 0, now.Tick
	b.state.Upset, b.state.Parted = now.Tick, now.Tick
	took := float64(sights[sight]) * lookTime
	b.raise(now, -1, Change{Condition: Redistribution, By: UnseenOdds, Group: g, Onset: now.Time - int64(took*float64(second)), Value: 100 * worst, Unit: "%",
		Detail: fmt.Sprintf("The ship moved as if one of the %s lines had let go, with up to %.1f %% of MBL more on other lines in %.0f s, and no line with a load pin did; keep clear of the mooring deck and find out whether line %s and its bollard hold.",
			g, 100*worst, took, b.id(who))})
}

// unseenOdds is the best odds that line i with this load let go at one of the
// bases, and the sight from it.
func (b *Berth) unseenOdds(i int, load float64, seen *[sightCount][joint]float64) (best float64, sight int) {
	t := b.lost(i, load, unseenLate)
	for s := range sights {
		odds := b.state.Motion.Fore.odds(&seen[s], &t, s+1, unseenLeast, unseenMost)
		if odds > best {
			best, sight = odds, s
		}
	}
	if b.plan.Lines[i].Instrumented { // two things wrong at once are less likely
		best /= unseenBoth
	}
	return best, sight
}

// away reports whether the fairlead of line i went from its hook as far as the
// surprise of that sight asks.
func (b *Berth) away(i, sight int) bool {
	f := &b.state.Motion.Fore
	now, base := &f.Past[(f.Looks-1)%looksKept].Place, &f.Past[(f.Looks-1-sights[sight])%looksKept].Place
	went := [modes]float64{now[0] - base[0], now[1] - base[1], now[2] - base[2]}
	run := &b.levers[i].Move
	return dot(run, &went) >= unseenAway*dot(run, &f.Off[sight][(f.Looks-1)%looksKept])
}

// owned reports whether a measured line has given or taken this load of itself
// within the looks kept.
func (b *Berth) owned(load float64) bool {
	for i := range b.state.Lines {
		if !b.plan.Lines[i].Instrumented {
			continue
		}
		own := &b.state.Lines[i].Own
		lo, hi := own[0], own[0]
		for _, v := range own {
			lo, hi = min(lo, v), max(hi, v)
		}
		if hi-lo >= load {
			return true
		}
	}
	return false
}

// hidden reports whether nobody would see line i part.
func (b *Berth) hidden(i int) bool {
	return b.levers[i].Pull != [modes]float64{} &&
		(!b.plan.Lines[i].Instrumented || b.state.Lines[i].Health.Fault != well) && !b.state.Lines[i].Part.Latch.Up
}

// likelyLoad is what an unseen line likely carries: its share is that of the rest
// of its group.
func (b *Berth) likelyLoad(now moment, i int) (load float64, ok bool) {
	n := 0.0
	for k := range b.state.Lines {
		if k != i && b.plan.Lines[k].Group == b.plan.Lines[i].Group && b.measure(now, k) && b.state.Lines[k].MinuteOK {
			share, _ := b.share(k)
			load += share * b.plan.Lines[i].MBLkN
			n++
		}
	}
	return load / max(n, 1), n > 0 && load > 0
}

// feel is how many lines feel a move by unseenFelt of MBL or more, and the most
// that one gains, of MBL.
func (b *Berth) feel(move *[modes]float64) (felt int, worst float64) {
	for i := range b.state.Lines {
		if b.state.Lines[i].Fit.Weight == 0 {
			continue
		}
		gain := b.draws(i, move) / b.plan.Lines[i].MBLkN
		if math.Abs(gain) >= unseenFelt {
			felt++
		}
		worst = max(worst, gain)
	}
	return felt, worst
}
