package detect

import "math"

// heave is the ship's rise by the water level and by her drafts, smoothed.
type heave struct {
	Water, Fwd, Aft slowLevel
}

// slowLevel is a slow reading smoothed over half a minute, as a change since the
// first, m.
type slowLevel struct {
	First, Newest, Smooth float64
	Known                 bool
}

func (v *slowLevel) add(s *sample) {
	if math.IsNaN(s.Value) {
		return
	}
	if !v.Known {
		v.First, v.Known = s.Value, true
	}
	v.Newest = s.Value - v.First
}

// aboveReference is how far the first reading was above the plan's, 0 for none.
func (v *slowLevel) aboveReference(plan float64) float64 {
	if !v.Known {
		return 0
	}
	return v.First - plan
}

func (v *slowLevel) tick() { v.Smooth += (v.Newest - v.Smooth) / float64(30*ticksPerSecond) }

// stretchFromRise is how far the ship's rise since the first readings stretches
// line i, m.
func (b *Berth) stretchFromRise(i int) float64 {
	first, since := b.fairleadRise(i)
	if since == 0 {
		return 0
	}
	lm := &b.models[i]
	return lm.stretchAtRise(first+since) - lm.stretchAtRise(first)
}

// fairleadRise is how far line i's fairlead had risen above the plan's reference at
// the first readings, and how far since, m.
func (b *Berth) fairleadRise(i int) (first, since float64) {
	aft, h, ref := b.models[i].AftShare, &b.state.Motion.Heave, &b.plan.Reference
	first = h.Water.aboveReference(ref.WaterLevelM) - (1-aft)*h.Fwd.aboveReference(ref.DraftFwdM) - aft*h.Aft.aboveReference(ref.DraftAftM)
	return first, h.Water.Smooth - (1-aft)*h.Fwd.Smooth - aft*h.Aft.Smooth
}

// stretchPerRise is what a metre of the ship's rise stretches line i by.
func (b *Berth) stretchPerRise(i int) float64 {
	first, since := b.fairleadRise(i)
	return b.models[i].stretchPerRise(first + since)
}
