package quality

import (
	"slices"

	"hawser/detect/mooring"
)

// statements are the rules for figures of the plan that cannot go together.
func statements() []rule {
	return []rule{
		{Rule{"displacement", "Displacement is 0.4 to 0.9 of length over all × beam × mean draft × 1.025 t/m³.",
			"block coefficients of 0.5 (fine) to 0.85 (full), from memory of textbooks, with room"}, displacement},
		{Rule{"no-pin", "Every line has a load pin; one without holds load that is seen only in what the others do, and its limits are watched by nobody.",
			practice}, noPin},
		{Rule{"no-rope", "Where some lines state the number of their rope, all do; the service record of one that does not ends with the ship's line, not the rope.",
			practice}, noRope},
		{Rule{"water-off-tide", "The reference water level lies within the tide that the plan states.",
			"the plan itself"}, waterOffTide},
	}
}

func displacement(s *scene) []Remark {
	draft := (s.Reference.DraftFwdM + s.Reference.DraftAftM) / 2
	box := s.Ship.LoaM * s.Ship.BeamM * draft * 1.025
	if block := s.Ship.DisplacementT / box; block < 0.4 || block > 0.9 {
		return whole(Note, "%.0f t is %.2f of the box of her length, beam and mean draft; length, beam, draft or displacement is off", s.Ship.DisplacementT, block)
	}
	return nil
}

func noPin(s *scene) []Remark {
	return s.naming(Note, "no load pin", func(l *mooring.Line) bool { return !l.Instrumented })
}

func noRope(s *scene) []Remark {
	if !slices.ContainsFunc(s.Lines, func(l mooring.Line) bool { return l.Rope != "" }) {
		return nil
	}
	return s.naming(Note, "its rope is not stated", func(l *mooring.Line) bool { return l.Rope == "" })
}

func waterOffTide(s *scene) []Remark {
	if s.water == nil || s.Reference.WaterLevelM >= s.water.LowM && s.Reference.WaterLevelM <= s.water.HighM {
		return nil
	}
	return whole(Note, "the reference water level of %.1f m lies outside the plan's tide, %.1f to %.1f m", s.Reference.WaterLevelM, s.water.LowM, s.water.HighM)
}
