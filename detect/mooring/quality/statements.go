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
		{Rule{"windage", "The side that the wind meets is 0.02 to 0.25 of length over all squared, the end 0.2 to 3 of beam squared.",
			"laden tankers at 0.03 and 0.5, car carriers and cruise ships at 0.15 and 1.5, from memory, with room"}, windage},
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

// windage looks for figures that are off by a power of ten: every force of the wind
// would be.
func windage(s *scene) []Remark {
	side, end := s.Ship.SideWindageM2/(s.Ship.LoaM*s.Ship.LoaM), s.Ship.EndWindageM2/(s.Ship.BeamM*s.Ship.BeamM)
	var out []Remark
	if side < 0.02 || side > 0.25 {
		out = append(out, whole(Note, "side windage of %.0f m² is %.2g of her length squared; windage or length is off, and with it every figure of the wind", s.Ship.SideWindageM2, side)...)
	}
	if end < 0.2 || end > 3 {
		out = append(out, whole(Note, "end windage of %.0f m² is %.2g of her beam squared; windage or beam is off, and with it every figure of the wind", s.Ship.EndWindageM2, end)...)
	}
	return out
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
