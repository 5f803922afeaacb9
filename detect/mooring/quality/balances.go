package quality

import (
	"math"

	"hawser/detect/mooring"
)

// balances are the rules for the mooring as a whole.
func balances() []rule {
	return []rule{
		{Rule{"balance-across", "What the lines hold across at the bow is within 1.5 times what they hold at the stern: the sum of working load limits, each by its lead, before and behind amidships.",
			"symmetry about amidships: a trade encyclopedia; the figure: " + practice}, balanceAcross},
		{Rule{"balance-along", "What holds her from moving ahead is within 1.5 times what holds her from moving astern: the sum of working load limits, each by its lead.",
			practice}, balanceAlong},
		{Rule{"missing-group", "There are springs both ways, and breasts at an end that has head or stern lines: breasts hold her alongside best, springs along, head and stern lines do either less well.",
			"MSC.1/Circ.1175/Rev.1 appendix A 3.1.1"}, missingGroup},
		{Rule{"few-lines", "Head, breast and stern lines together are at least 0.00083 A + 4, to the nearest whole number, A the side area above water in square metres; most ships other than tankers and bulk carriers need 2 more.",
			"MSC.1/Circ.1175/Rev.1 appendix A, from memory; there for the lightest draft, and for an equipment number over 2000"}, fewLines},
	}
}

const evenly = 1.5

// holds are the working load limits summed by their lead, kN: what holds the bow
// and the stern alongside, and what holds her from moving ahead and astern.
type holds struct{ bow, stern, ahead, astern float64 }

func (s *scene) holds() (h holds) {
	centre, _ := s.Centre()
	for i := range s.Lines {
		u, limit := s.spans[i].Unit, s.WorkingLoadKN(i)
		if across := limit * max(0, -u.Y); s.Lines[i].Fairlead.X >= centre {
			h.bow += across
		} else {
			h.stern += across
		}
		h.ahead += limit * max(0, -u.X)
		h.astern += limit * max(0, u.X)
	}
	return h
}

func balanceAcross(s *scene) []Remark {
	h := s.holds()
	return uneven(h.bow, h.stern, "at the bow", "at the stern", "alongside ")
}

func balanceAlong(s *scene) []Remark {
	h := s.holds()
	return uneven(h.ahead, h.astern, "from moving ahead", "from moving astern", "")
}

func uneven(a, b float64, whereA, whereB, what string) []Remark {
	const nothing = 1 // kN
	switch {
	case a < nothing && b < nothing:
		return whole(Serious, "no line holds her %s%s or %s", what, whereA, whereB)
	case a < nothing:
		return whole(Serious, "no line holds her %s%s", what, whereA)
	case b < nothing:
		return whole(Serious, "no line holds her %s%s", what, whereB)
	case max(a, b) > evenly*min(a, b):
		return whole(Poor, "lines hold her %s%s with %.0f kN and %s with %.0f kN, over 1.5 times", what, whereA, a, whereB, b)
	}
	return nil
}

func missingGroup(s *scene) []Remark {
	var has [mooring.Stern + 1]bool
	for i := range s.Lines {
		has[s.Lines[i].Group] = true
	}
	var out []Remark
	if !has[mooring.FwdSpring] {
		out = append(out, whole(Poor, "there is no forward spring")...)
	}
	if !has[mooring.AftSpring] {
		out = append(out, whole(Poor, "there is no aft spring")...)
	}
	if has[mooring.Head] && !has[mooring.FwdBreast] {
		out = append(out, whole(Note, "there is no breast line forward; head lines alone hold the bow alongside")...)
	}
	if has[mooring.Stern] && !has[mooring.AftBreast] {
		out = append(out, whole(Note, "there is no breast line aft; stern lines alone hold the stern alongside")...)
	}
	return out
}

func fewLines(s *scene) []Remark {
	lines := 0
	for i := range s.Lines {
		if g := s.Lines[i].Group; g != mooring.FwdSpring && g != mooring.AftSpring {
			lines++
		}
	}
	want := math.Round(8.3e-4*s.Ship.SideWindageM2 + 4)
	if float64(lines) >= want {
		return nil
	}
	return whole(Poor, "%d head, breast and stern lines, and a ship of %.0f m² side area carries %.0f or more", lines, s.Ship.SideWindageM2, want)
}
