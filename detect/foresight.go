package detect

import "math"

// foresight tells the ship's place some seconds ahead, so that what she then does
// otherwise stands out. Every half second, mode by mode (surge, sway, yaw),
//
//	place(t+h) = place(t) + way told from what she did until t
//	             + ∬ pull of the lines / mass + ∬ push of the wind / mass
//
// The pull of the lines is what the pins say, worked, slipping and parted lines
// too, so that what is known of is no surprise. It goes in by Newton's second law
// and unweighted: then what is left over of a pull that nobody measures is simply
// ½·pull/mass·h², whatever the lines' stiffness. How much her speed, her
// acceleration, the wind and her distance from her usual place are worth is
// learnt by recursive least squares, whose past fades over some ten minutes.
// Metres, seconds. Source: Newton's second law; least squares as in any textbook;
// the figures are common practice, no source.
const (
	lookEvery  = 5   // ticks between looks
	lookTime   = 0.5 // s
	looksKept  = 32
	settleFor  = 60         // looks after which a place is told from what was seen
	foreUsual  = 240        // looks over which the usual place is taken
	foreQuick  = 2.5        // s; time constants of the two tracks
	foreSlow   = 8          // s
	foreFades  = 1 - 1./600 // of the past, a lesson; they come once a second
	foreUnit   = 0.005      // m; what a lesson is worth
	foreUnsure = 0.1        // of a weight, at first
)

// sights are how far ahead the place is told, in looks.
var sights = [sightCount]int64{4, 7, 11, 16, furthest}

const (
	sightCount = 5
	furthest   = 24
)

// What a way is told from.
const (
	bySpeed = iota // two tracks each
	bySlowSpeed
	byForce
	bySlowForce
	byLateWind
	byWind
	byPlace
	foreKnown
)

type foresight struct {
	Looks   int64 // since her place was last not known
	Usual   [modes]float64
	Pushes  [pushes][modes]float64 // usual, m/s²
	Wind    [pushes][modes]float64 // newest known, m/s²; of the wind only
	FeltMS  float64                // wind speed as it has come over the ship
	Quick   track
	Slow    track
	Past    [looksKept]beheld
	Weights [sightCount][modes][foreKnown]float64
	Unsure  [sightCount][modes][foreKnown][foreKnown]float64
	Surprises
	Swerves Swerves
}

// pushes on the ship, as accelerations.
const (
	ofLines = iota
	ofLateWind
	ofWind
	pushes
)

// beheld is what is kept of a look.
type beheld struct {
	Place, Speed, SlowSpeed, Force, SlowForce [modes]float64
	Push                                      [pushes][modes]float64 // less what is usual
}

// track follows a place with its speed and the acceleration that no push explains.
type track struct{ Place, Speed, Force [modes]float64 }

// step is that of a steady filter with three like poles, time constant tau.
func (t *track) step(place *[modes]float64, push *[pushes][modes]float64, tau float64) {
	th := math.Exp(-lookTime / tau)
	k1, k2, k3 := 1-th*th*th, 1.5*(1-th)*(1-th)*(1+th)/lookTime, (1-th)*(1-th)*(1-th)/(lookTime*lookTime)
	for m := range modes {
		a := t.Force[m] + push[ofLines][m] + (push[ofLateWind][m]+push[ofWind][m])/2
		q := t.Place[m] + t.Speed[m]*lookTime + a*lookTime*lookTime/2
		v := t.Speed[m] + a*lookTime
		off := place[m] - q
		t.Place[m], t.Speed[m], t.Force[m] = q+k1*off, v+k2*off, t.Force[m]+k3*off
	}
}

// looked reports whether a look ends with this tick.
func looked(now moment) bool { return (now.Tick+1)%lookEvery == 0 }

// behold takes a look: five ticks' place and pushes.
func (b *Berth) behold(now moment) {
	if !looked(now) {
		return
	}
	m := &b.state.Motion
	f := &m.Fore
	if m.Ticks < lookEvery {
		f.Looks = 0
		m.Record.begin()
		return
	}
	var at beheld
	for n := range int64(lookEvery) {
		q := m.before(n)
		for k := range modes {
			at.Place[k] += q[k] / lookEvery
		}
	}
	b.pushed(now, &at)
	b.note(now, &at)
	if f.Looks == 0 {
		f.begin(&at)
	}
	for k := range modes {
		f.Usual[k] += (at.Place[k] - f.Usual[k]) / foreUsual
		for p := range pushes {
			f.Pushes[p][k] += (at.Push[p][k] - f.Pushes[p][k]) / foreUsual
			at.Push[p][k] -= f.Pushes[p][k]
		}
	}
	f.Quick.step(&at.Place, &at.Push, foreQuick)
	f.Slow.step(&at.Place, &at.Push, foreSlow)
	at.Speed, at.SlowSpeed, at.Force, at.SlowForce = f.Quick.Speed, f.Slow.Speed, f.Quick.Force, f.Slow.Force
	f.Past[f.Looks%looksKept] = at
	f.Swerves.swerve(&at, &f.Usual, f.Looks)
	f.Looks++
	f.foretell()
	f.weighUp(&b.usual)
}

// begin begins with the ship at rest in this place.
func (f *foresight) begin(at *beheld) {
	f.Usual, f.Pushes = at.Place, at.Push
	f.Quick, f.Slow = track{Place: at.Place}, track{Place: at.Place}
	if f.Unsure[0][0][0][0] != 0 {
		return // what was learnt still holds
	}
	for s := range sights {
		for m := range modes {
			f.Weights[s][m] = [foreKnown]float64{0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0}
			for k := range foreKnown {
				f.Unsure[s][m][k][k] = foreUnsure
			}
		}
	}
}

// pushed sets the accelerations that lines and wind give the ship, and notes
// what every line pulls.
func (b *Berth) pushed(now moment, at *beheld) {
	f := &b.state.Motion.Fore
	mass := b.masses()
	var went [modes]float64
	if f.Looks > 0 {
		was := &f.Past[(f.Looks-1)%looksKept].Place
		for k := range modes {
			went[k] = at.Place[k] - was[k]
		}
	}
	for i := range b.state.Lines {
		b.pulled(now, i, &went)
		l, g := &b.state.Lines[i], &b.levers[i]
		l.Own[f.Looks%looksKept] = l.Pull - b.draws(i, &at.Place)
		for k := range modes {
			at.Push[ofLines][k] += l.Pull * g.Pull[k] / mass[k]
		}
	}
	b.blown(now, &mass)
	at.Push[ofLateWind], at.Push[ofWind] = f.Wind[ofLateWind], f.Wind[ofWind]
}

// pulled takes line i's pull on by what has come to it since the last look: by
// its pin, or by the ship's way where no pin tells. It takes on changes only, so
// that a pin that comes and goes is no jolt to the ship.
func (b *Berth) pulled(now moment, i int, went *[modes]float64) {
	l := &b.state.Lines[i]
	load := bad
	if b.plan.Lines[i].Instrumented && l.Health.Fault == well && !l.Part.tried() {
		load = 0
		for n := range int64(lookEvery) {
			load += l.recent(now, n) / lookEvery
		}
	}
	switch {
	case l.Part.Latch.Up && !l.Part.tried():
	case !math.IsNaN(load - l.Told):
		l.Pull += load - l.Told
	default:
		l.Pull += b.draws(i, went)
	}
	l.Told = load
}

// draws is what a small move of the ship puts on line i, kN.
func (b *Berth) draws(i int, move *[modes]float64) float64 {
	run := b.answers(i)
	return b.stiff(i) * dot(&run, move)
}

// stiff is line i's stiffness, kN/m: at its load where that is known, else at
// its pretension.
func (b *Berth) stiff(i int) float64 {
	if k := b.state.Lines[i].Fit.Stiff; k > 0 {
		return k
	}
	return b.levers[i].stiff
}

// foretell holds her place against what was told of it, sight by sight, and
// learns.
func (f *foresight) foretell() {
	now := &f.Past[(f.Looks-1)%looksKept]
	was := &f.Past[(f.Looks-2+looksKept)%looksKept]
	var moved [pushes][modes]float64 // ∬ of the pushes from the base on
	back := int64(0)
	for s, h := range sights {
		if f.Looks <= settleFor+h {
			return
		}
		for ; back < h; back++ {
			p := &f.Past[(f.Looks-1-back)%looksKept].Push
			for k := range pushes {
				for m := range modes {
					moved[k][m] += p[k][m] * float64(back+1) * lookTime * lookTime
				}
			}
		}
		base := &f.Past[(f.Looks-1-h)%looksKept]
		t := float64(h) * lookTime
		for m := range modes {
			x := [foreKnown]float64{bySpeed: base.Speed[m] * t, bySlowSpeed: base.SlowSpeed[m] * t,
				byForce: base.Force[m] * t * t / 2, bySlowForce: base.SlowForce[m] * t * t / 2,
				byLateWind: moved[ofLateWind][m], byWind: moved[ofWind][m], byPlace: base.Place[m] - f.Usual[m]}
			went := (now.Place[m]+was.Place[m])/2 - base.Place[m] - moved[ofLines][m]
			off := went
			for k, w := range f.Weights[s][m] {
				off -= w * x[k]
			}
			f.Off[s][(f.Looks-1)%looksKept][m] = off
			if f.Looks%2 == 0 {
				learn(&f.Weights[s][m], &f.Unsure[s][m], &x, off)
			}
		}
	}
}

// learn takes a lesson of recursive least squares: with these x the way was told
// short by off. The past fades, but not beyond all bounds where she lies still and
// there is nothing to learn.
func learn(w *[foreKnown]float64, p *[foreKnown][foreKnown]float64, x *[foreKnown]float64, off float64) {
	var px [foreKnown]float64
	scale := foreFades
	for i := range px {
		for j, v := range x {
			px[i] += p[i][j] * v
		}
		px[i] /= foreUnit
		scale += px[i] * x[i] / foreUnit
	}
	var most float64
	for i := range px {
		gain := px[i] / scale
		w[i] += gain * off / foreUnit
		for j := range px {
			p[i][j] -= gain * px[j]
		}
		most = max(most, p[i][i])
	}
	if most < 2*foreUnsure {
		for i := range p {
			for j := range p[i] {
				p[i][j] *= 1 / foreFades
			}
		}
	}
}
