package quality

import "hawser/detect/mooring"

// leads are the rules for which way a line goes at all.
func leads() []rule {
	return []rule{
		{Rule{"wrong-end", "Lines of a forward group leave the forward half of the ship, lines of an aft group the aft half.",
			"the groups' own meaning"}, wrongEnd},
		{Rule{"wrong-way", "Head lines and aft springs lead forward, stern lines and forward springs aft.",
			"the groups' own meaning; MSC.1/Circ.1175/Rev.1 appendix A 3.1.1 for head, stern, breast and spring"}, wrongWay},
		{Rule{"off-berth", "Lines pull the ship to the berth, not off it: seen from above, within 3 degrees of the berth line or inward.",
			practice}, offBerth},
		{Rule{"off-ship", "Fairleads lie within the ship: across within 0.5 m of her beam, along within her length between the first and the last.",
			"her length and beam in the plan"}, offShip},
	}
}

func wrongEnd(s *scene) []Remark {
	centre, _ := s.Centre()
	return s.lineByLine(" m", func(i int) finding {
		l := &s.Lines[i]
		off := l.Fairlead.X - centre
		if l.Group >= mooring.AftSpring {
			off = -off
		}
		if off >= 0 {
			return finding{}
		}
		return finding{Serious, "fairlead %s on the wrong side of amidships for the group", -off}
	})
}

func wrongWay(s *scene) []Remark {
	return s.lineByLine(" m", func(i int) finding {
		forward := s.Lines[i].Hook.X - s.Lines[i].Fairlead.X
		switch s.Lines[i].Group {
		case mooring.Head, mooring.AftSpring:
			if forward < 0 {
				return finding{Serious, "led %s aft, where the group leads forward", -forward}
			}
		case mooring.Stern, mooring.FwdSpring:
			if forward > 0 {
				return finding{Serious, "led %s forward, where the group leads aft", forward}
			}
		}
		return finding{}
	})
}

func offBerth(s *scene) []Remark {
	return s.lineByLine(" m", func(i int) finding {
		const sin3 = 0.0523
		if s.spans[i].Unit.Y <= sin3 {
			return finding{}
		}
		return finding{Serious, "hook %s farther off the berth than the fairlead, and the pull is off the berth",
			s.Lines[i].Hook.Y - s.Lines[i].Fairlead.Y}
	})
}

func offShip(s *scene) []Remark {
	const slackM = 0.5
	out := s.lineByLine(" m", func(i int) finding {
		y := s.Lines[i].Fairlead.Y
		switch {
		case y < -slackM:
			return finding{Serious, "fairlead %s inside the fender face, where there is no ship", -y}
		case y > s.Ship.BeamM+slackM:
			return finding{Serious, "fairlead %s beyond her far side", y - s.Ship.BeamM}
		}
		return finding{}
	})
	first, last := s.Lines[0].Fairlead.X, s.Lines[0].Fairlead.X
	for i := range s.Lines {
		first, last = min(first, s.Lines[i].Fairlead.X), max(last, s.Lines[i].Fairlead.X)
	}
	if last-first > s.Ship.LoaM {
		out = append(out, whole(Serious, "the fairleads reach over %.0f m, and she is %.0f m long", last-first, s.Ship.LoaM)...)
	}
	return out
}
