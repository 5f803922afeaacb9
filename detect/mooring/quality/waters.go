package quality

import "hawser/detect/mooring"

// waters are the rules for what the tide does, where the plan has it.
func waters() []rule {
	return []rule{
		{Rule{"tide-load", "Left alone at its setting from the plan's reference, a line stays under its working load limit to the highest and the lowest water; otherwise it has to be tended. The ship rises with the water and is taken not to move or change draft.",
			"worked out from the line's own stretch; that lines are tended: " + practice}, tideLoad},
		{Rule{"tide-slack", "Left alone, a line does not go slack (under the plan's slack limit, 2 % of MBL unless set) at the highest or the lowest water.",
			"worked out from the line's own stretch"}, tideSlack},
	}
}

// risen is the ship at another water level, drafts unchanged.
func (s *scene) risen(levelM float64) mooring.Pose {
	fwd, aft := s.Rise(levelM, s.Reference.DraftFwdM, s.Reference.DraftAftM)
	return mooring.Pose{RiseFwdM: fwd, RiseAftM: aft}
}

// atLevelKN is line i's load at a water level, left as it is set.
func (s *scene) atLevelKN(i int, levelM float64) float64 {
	unstretchedM := s.rig.UnstretchedM(i, s.Lines[i].PretensionKN, mooring.Pose{})
	return s.rig.TensionKN(i, unstretchedM, s.risen(levelM))
}

func tideLoad(s *scene) []Remark {
	if s.water == nil {
		return nil
	}
	return s.lineByLine(" %", func(i int) finding {
		if s.Lines[i].PretensionKN >= s.WorkingLoadKN(i) {
			return finding{} // told as a pretension
		}
		low, high := s.atLevelKN(i, s.water.LowM), s.atLevelKN(i, s.water.HighM)
		where := "highest"
		if low > high {
			high, where = low, "lowest"
		}
		if high < s.WorkingLoadKN(i) {
			return finding{}
		}
		return finding{Poor, "%s of MBL at the " + where + " water if nobody tends it, over the working load limit", 100 * high / s.Lines[i].MBLkN}
	})
}

func tideSlack(s *scene) []Remark {
	if s.water == nil {
		return nil
	}
	return s.lineByLine(" %", func(i int) finding {
		slack := float64(s.Limits.SlackFraction) * s.Lines[i].MBLkN
		if s.Lines[i].PretensionKN < slack {
			return finding{} // told as a pretension
		}
		low, high := s.atLevelKN(i, s.water.LowM), s.atLevelKN(i, s.water.HighM)
		where := "lowest"
		if high < low {
			low, where = high, "highest"
		}
		if low >= slack {
			return finding{}
		}
		return finding{Note, "slack at the " + where + " water if nobody tends it: %s of MBL", 100 * low / s.Lines[i].MBLkN}
	})
}
