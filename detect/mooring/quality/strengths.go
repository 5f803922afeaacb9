package quality

import (
	"fmt"

	"hawser/detect/mooring"
)

// strengths are the rules for what a line is made of.
func strengths() []rule {
	return []rule{
		{Rule{"tail-strength", "A tail is at least 1.25 times as strong as the ship design MBL: it wears and tires faster than the line. One that is weaker than the line is what parts.",
			"MEG 4th edition, 125 to 130 %, from a summary and a brake test form; from memory for the base of the percentage"}, tailStrength},
		{Rule{"no-tail", "Lines of wire, high-modulus polyethylene or aramid have tails: by themselves they hardly stretch, and small motions make large loads.",
			practice}, noTail},
		{Rule{"little-give", "A line can be drawn out by 0.5 m from its pretension before it is at its working load limit.",
			practice + "; worked out from the line's own stretch"}, littleGive},
		{Rule{"strength-for-size", "MBL goes with diameter squared and material: within half and twice what a sample of 50 mm has, polyamide wet, as it is tested. Beyond that a unit is mixed up (tonnes for kN, circumference for diameter), and every percentage is wrong.",
			"trade figures for 50 mm: steel wire 150 t, polypropylene 31, polyamide 44, polyester 35, polyolefin 41, HMPE 193, mixed fibre 49; " + practice + "; aramid 145 t from memory"}, strengthForSize},
		{Rule{"bend", "At its fairlead a line bends over at least 12 times its diameter where it is of wire, high-modulus polyethylene or aramid, over 6 times otherwise, where the plan says (fairlead_diameter_mm); a sharper bend weakens it. The rope maker's figure governs.",
			"ratio as in MSC.1/Circ.1620 2.1; the figures: trade practice, from memory"}, bend},
		{Rule{"limit-raised", "The working load limit is 0.50 of MBL, for steel wire 0.55; a plan does not set it higher.",
			"MEG 4th edition (2018) as used with SOLAS II-1/3-8, in a flag registry's circular"}, limitRaised},
	}
}

func tailStrength(s *scene) []Remark {
	return s.lineByLine(" %", func(i int) finding {
		l := &s.Lines[i]
		if l.Tail == nil {
			return finding{}
		}
		switch share := l.Tail.MBLkN / l.MBLkN; {
		case share < 1:
			return finding{Serious, "tail of only %s of MBL, weaker than the line", 100 * share}
		case share < 1.245:
			return finding{Poor, "tail of %s of MBL, under 125 %%", 100 * share}
		}
		return finding{}
	})
}

// stiff are the materials that hardly stretch, and suffer most from a sharp bend.
func stiff(m mooring.Material) bool {
	return m == mooring.SteelWire || m == mooring.HMPE || m == mooring.Aramid
}

func noTail(s *scene) []Remark {
	return s.lineByLine(" m", func(i int) finding {
		l := &s.Lines[i]
		if l.Tail != nil || !stiff(l.Material) {
			return finding{}
		}
		return finding{Note, l.Material.String() + " without a tail, %s long", s.lengthM(i)}
	})
}

func littleGive(s *scene) []Remark {
	const leastM = 0.5
	return s.lineByLine(" m", func(i int) finding {
		if s.Lines[i].PretensionKN >= s.WorkingLoadKN(i) {
			return finding{} // told as a pretension
		}
		give := s.giveM(i)
		if give >= leastM {
			return finding{}
		}
		return finding{Poor, "at the working load limit when drawn out by %s, under 0.5 m", give}
	})
}

// giveM is how far line i is drawn out between its pretension and its working
// load limit.
func (s *scene) giveM(i int) float64 {
	law, lengthM := s.rig.Law(i), s.lengthM(i)
	unstretchedM := law.UnstretchedM(s.Lines[i].PretensionKN, lengthM)
	lo, hi := lengthM, 2*lengthM // no material here stretches so far at half its MBL
	for range 50 {
		mid := (lo + hi) / 2
		if law.TensionKN(mid, unstretchedM) < s.WorkingLoadKN(i) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo - lengthM
}

func strengthForSize(s *scene) []Remark {
	share := func(m mooring.Material, diameterMM, mblKN float64) float64 {
		return mblKN / (m.BreakingLoadKN(diameterMM) * m.WetStrength())
	}
	judge := func(what string, share float64) finding {
		if share >= 0.5 && share <= 2 {
			return finding{}
		}
		return finding{Serious, what + " MBL is %s of what goes with diameter and material; look at the units", 100 * share}
	}
	lines := s.lineByLine(" %", func(i int) finding {
		l := &s.Lines[i]
		return judge("stated", share(l.Material, l.DiameterMM, l.MBLkN))
	})
	tails := s.lineByLine(" %", func(i int) finding {
		t := s.Lines[i].Tail
		if t == nil {
			return finding{}
		}
		return judge("the tail's stated", share(t.Material, t.DiameterMM, t.MBLkN))
	})
	return append(lines, tails...)
}

func bend(s *scene) []Remark {
	return s.lineByLine("", func(i int) finding {
		l := &s.Lines[i]
		least := 6.0
		if stiff(l.Material) {
			least = 12
		}
		ratio := l.FairleadDiameterMM / l.DiameterMM
		if ratio == 0 || ratio >= least {
			return finding{}
		}
		return finding{Note, fmt.Sprintf("bent over %%s times the diameter at the fairlead, under %.0f", least), ratio}
	})
}

func limitRaised(s *scene) []Remark {
	const fibre, wire = 0.50, 0.55
	f := s.Limits.WorkingLoadFraction
	allWire := true
	for i := range s.Lines {
		allWire = allWire && s.Lines[i].Material == mooring.SteelWire
	}
	if f <= fibre || allWire && f <= wire {
		return nil
	}
	return whole(Poor, "the plan sets the working load limit to %s of MBL, over 50 %% (55 %% for steel wire)", fmt.Sprintf("%.0f %%", 100*f))
}
