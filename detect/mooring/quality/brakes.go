package quality

import "hawser/detect/mooring"

// brakes are the rules for winches.
func brakes() []rule {
	return []rule{
		{Rule{"brake-setting", "A brake renders at 0.60 of MBL, or of the tail's where that is less: over the working load limit, and well before the line parts. 0.65 and over is too tight, at 0.80 the brake is past what it is designed to hold; under the working load limit the line runs out in a load it should carry.",
			"MEG 4th edition, brake test form; guidelines' clarification of 2000 for the order of the figures; 5 points of room: " + practice}, brakeSetting},
		{Rule{"brake-hold", "A brake is designed to hold 0.80 of MBL on the first layer, and is set to render under what it can hold.",
			"MEG 4th edition, brake test form"}, brakeHold},
		{Rule{"brake-unknown", "A plan says what each winch brake is designed to hold (brake_hold_kN).",
			practice}, brakeUnknown},
	}
}

func brakeSetting(s *scene) []Remark {
	return s.lineByLine(" %", func(i int) finding {
		l := &s.Lines[i]
		if l.MadeFast != mooring.Winch {
			return finding{}
		}
		weakest := l.MBLkN
		if l.Tail != nil {
			weakest = min(weakest, l.Tail.MBLkN)
		}
		switch share := l.BrakeRenderKN / weakest; {
		case share >= 0.80:
			return finding{Serious, "brake set to render at %s of MBL; at 60 %% the drum gives before the line parts", 100 * share}
		case share >= 0.65:
			return finding{Poor, "brake set to render at %s of MBL, over 60 %%", 100 * share}
		case l.BrakeRenderKN < 0.995*s.WorkingLoadKN(i):
			return finding{Poor, "brake set to render at %s of MBL, under the working load limit", 100 * share}
		}
		return finding{}
	})
}

func brakeHold(s *scene) []Remark {
	return s.lineByLine(" %", func(i int) finding {
		l := &s.Lines[i]
		if l.MadeFast != mooring.Winch || l.BrakeHoldKN == 0 {
			return finding{}
		}
		share := l.BrakeHoldKN / l.MBLkN
		switch {
		case l.BrakeHoldKN < l.BrakeRenderKN:
			return finding{Serious, "brake set to render over the %s of MBL that it is designed to hold", 100 * share}
		case share < 0.795:
			return finding{Poor, "brake designed to hold %s of MBL, under 80 %%", 100 * share}
		}
		return finding{}
	})
}

func brakeUnknown(s *scene) []Remark {
	return s.naming(Note, "what the brake is designed to hold is not stated",
		func(l *mooring.Line) bool { return l.MadeFast == mooring.Winch && l.BrakeHoldKN == 0 })
}
