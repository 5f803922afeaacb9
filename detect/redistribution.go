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
// Gusts can hide a loss from her surprises, which look at how far she has gone, and
// not from her swerves (see swerve.go), which look at how suddenly she began. Where
// the surprises only hint at a loss (unseenHint), the swerves of the last 12 s may
// tell it by themselves: their odds over unseenSharp, the fairlead not nearer its
// hook, two lines off by 0.012 of MBL, and her ways learnt for six minutes.
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
	unseenHint  = 7     // odds by her surprises, from which her swerves may tell
	unseenSharp = 14    // odds by her swerves
	sharpFelt   = 0.012 // of MBL
	sharpAfter  = 720   // looks since her place was last not known
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
	var sharp swerved
	ready := false
	best, who, sight, least := 0.0, -1, 0, 0.0
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
		away, felt := unseenAway, unseenFelt
		if odds >= unseenHint && odds < unseenOdds {
			if j := b.sharply(i, load, &sharp); j.Odds >= unseenSharp {
				odds, at, away, felt = unseenOdds, sightOf(j.Looks), 0, sharpFelt // certain enough
			}
		}
		b.weighGroup(UnseenOdds, g, odds, unseenOdds)
		if odds < unseenOdds || !b.away(i, at, away) || b.owned(unseenOwn*load) {
			u.Looks = 0
			continue
		}
		if u.Looks++; u.Looks >= unseenHold && odds > best {
			best, who, sight, least = odds, i, at, felt
		}
	}
	if who < 0 {
		return
	}
	felt, worst := b.feel(&b.state.Motion.Fore.Off[sight][(b.state.Motion.Fore.Looks-1)%looksKept], least)
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

// sharply holds her swerves against the loss of line i, not of one whose pin is at
// fault; they are made white for the first line that asks.
func (b *Berth) sharply(i int, load float64, sharp *swerved) jolt {
	f := &b.state.Motion.Fore
	if f.Looks < sharpAfter || f.Swerves.Lessons < leastSeen || b.plan.Lines[i].Instrumented {
		return jolt{}
	}
	if sharp.rough == 0 {
		*sharp = f.Swerves.since(f.Looks-1, &b.answer)
	}
	return sharp.jolted(b.unpulled(i, load), unseenLeast, unseenMost)
}

// unpulled is the acceleration by the loss of a load of line i, m/s².
func (b *Berth) unpulled(i int, load float64) (push [modes]float64) {
	mass := b.masses()
	for m := range modes {
		push[m] = -load * b.levers[i].Pull[m] / mass[m]
	}
	return push
}

// sightOf is the sight that looks back as far as so many looks, about.
func sightOf(looks int) int {
	for s, h := range sights {
		if int64(looks) <= h {
			return s
		}
	}
	return sightCount - 1
}

// away reports whether the fairlead of line i went from its hook by this share of
// what the surprise of that sight asks.
func (b *Berth) away(i, sight int, share float64) bool {
	f := &b.state.Motion.Fore
	now, base := &f.Past[(f.Looks-1)%looksKept].Place, &f.Past[(f.Looks-1-sights[sight])%looksKept].Place
	went := [modes]float64{now[0] - base[0], now[1] - base[1], now[2] - base[2]}
	run := &b.levers[i].Move
	return dot(run, &went) >= share*dot(run, &f.Off[sight][(f.Looks-1)%looksKept])
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

// feel is how many lines feel a move by a share of MBL or more, and the most
// that one gains, of MBL.
func (b *Berth) feel(move *[modes]float64, least float64) (felt int, worst float64) {
	for i := range b.state.Lines {
		if b.state.Lines[i].Fit.Weight == 0 {
			continue
		}
		gain := b.draws(i, move) / b.plan.Lines[i].MBLkN
		if math.Abs(gain) >= least {
			felt++
		}
		worst = max(worst, gain)
	}
	return felt, worst
}
