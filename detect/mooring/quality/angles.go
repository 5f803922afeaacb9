package quality

import "hawser/detect/mooring"

const (
	breastOffDeg = 15.0
	springOffDeg = 10.0
	downDeg      = 25.0
	// endLowDeg and endHighDeg are a head or stern line's angle to the berth.
	endLowDeg, endHighDeg = 20.0, 70.0
)

// angles are the rules for how a line lies, where it goes the right way.
func angles() []rule {
	return []rule{
		{Rule{"breast-angle", "Breast lines lie within 15 degrees of square to the ship, seen from above: what is off square pulls along her.",
			guidance}, breastAngle},
		{Rule{"spring-angle", "Springs lie within 10 degrees of the ship's side, seen from above: what is off it pulls across.",
			guidance}, springAngle},
		{Rule{"end-angle", "Head and stern lines lie 20 to 70 degrees off the berth line; beyond that they are springs or breasts, and poor ones. 45 is usual.",
			practice + "; that they hold less than breasts and springs: MSC.1/Circ.1175/Rev.1 appendix A 3.1.1"}, endAngle},
		{Rule{"down-angle", "Lines lie at most 25 degrees below the horizontal, at the highest water where the plan has the tide, otherwise at its reference; " +
			"steep lines lift more and hold less, and the ship's rise with tide or cargo goes straight into them. Light drafts make it steeper.",
			guidance + "; UFC 4-159-03 table 3-18 wants small angles"}, downAngle},
	}
}

func breastAngle(s *scene) []Remark {
	return s.lineByLine("°", func(i int) finding {
		if g := s.Lines[i].Group; g != mooring.FwdBreast && g != mooring.AftBreast {
			return finding{}
		}
		off := 90 - degrees(s.spans[i].HorizontalRad())
		if off <= breastOffDeg {
			return finding{}
		}
		return finding{Poor, "%s off square to the ship, over 15°", off}
	})
}

func springAngle(s *scene) []Remark {
	return s.lineByLine("°", func(i int) finding {
		if g := s.Lines[i].Group; g != mooring.FwdSpring && g != mooring.AftSpring {
			return finding{}
		}
		off := degrees(s.spans[i].HorizontalRad())
		if off <= springOffDeg {
			return finding{}
		}
		return finding{Poor, "%s off the ship's side, over 10°", off}
	})
}

func endAngle(s *scene) []Remark {
	return s.lineByLine("°", func(i int) finding {
		if g := s.Lines[i].Group; g != mooring.Head && g != mooring.Stern {
			return finding{}
		}
		switch off := degrees(s.spans[i].HorizontalRad()); {
		case off < endLowDeg:
			return finding{Note, "only %s off the berth line, as a spring would be", off}
		case off > endHighDeg:
			return finding{Note, "%s off the berth line, as a breast would be", off}
		}
		return finding{}
	})
}

func downAngle(s *scene) []Remark {
	var at mooring.Pose
	where := "at the plan's water level"
	if s.water != nil && s.water.HighM > s.Reference.WaterLevelM {
		at = s.risen(s.water.HighM)
		where = "at the highest water"
	}
	return s.lineByLine("°", func(i int) finding {
		span := s.rig.Span(i, at)
		down := degrees(span.VerticalRad())
		if down <= downDeg {
			return finding{}
		}
		return finding{Poor, "%s below the horizontal " + where + ", over 25°", down}
	})
}
