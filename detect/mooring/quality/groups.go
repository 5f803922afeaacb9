package quality

import (
	"fmt"
	"slices"
	"strings"

	"hawser/detect/mooring"
)

// groups are the rules for lines that have to share a load, and how they are set.
func groups() []rule {
	return []rule{
		{Rule{"mixed-group", "Lines of a group are of one material, with like tails, and of one strength within 10 %: the stiffest takes the load first, and the others hold once it has parted.",
			practice + "; that unlike stiffnesses share unequally is Hooke's law"}, mixedGroup},
		{Rule{"unequal-length", "The longest line of a group is at most 1.3 times as long as the shortest, drum or bitts to hook: the load goes to the short ones.",
			practice + "; share by length is Hooke's law"}, unequalLength},
		{Rule{"unequal-pretension", "Lines of a group are set alike: shares of MBL within 1.3 times and within 3 points.",
			practice}, unequalPretension},
		{Rule{"pretension-level", "Lines are set to 5 to 25 % of MBL; 10 % is usual. Slack lines let the ship range and snatch, tight ones leave little for the weather. Over the working load limit is no setting.",
			practice}, pretensionLevel},
	}
}

func mixedGroup(s *scene) []Remark {
	var out []Remark
	for _, lines := range s.members() {
		var materials, tails []string
		least, most := s.Lines[lines[0]].MBLkN, s.Lines[lines[0]].MBLkN
		for _, i := range lines {
			l := &s.Lines[i]
			materials = addOnce(materials, l.Material.String())
			tails = addOnce(tails, tailOf(l))
			least, most = min(least, l.MBLkN), max(most, l.MBLkN)
		}
		var differ []string
		if len(materials) > 1 {
			differ = append(differ, strings.Join(materials, " and "))
		}
		if len(tails) > 1 {
			differ = append(differ, strings.Join(tails, " and "))
		}
		if most > 1.1*least {
			differ = append(differ, fmt.Sprintf("MBL from %.0f to %.0f kN", least, most))
		}
		if differ != nil {
			out = append(out, Remark{Severity: Poor, Lines: s.ids(lines),
				Text: "unlike, so the load is not shared evenly: " + strings.Join(differ, "; ")})
		}
	}
	return out
}

func tailOf(l *mooring.Line) string {
	if l.Tail == nil {
		return "no tail"
	}
	return fmt.Sprintf("a tail of %.0f m %s", l.Tail.LengthM, l.Tail.Material)
}

func addOnce(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

func unequalLength(s *scene) []Remark {
	return s.compare(s.lengthM, func(lo, hi float64) string {
		if hi <= 1.3*lo {
			return ""
		}
		return fmt.Sprintf("from %.0f to %.0f m long, over 1.3 times", lo, hi)
	})
}

func unequalPretension(s *scene) []Remark {
	share := func(i int) float64 { return s.Lines[i].PretensionKN / s.Lines[i].MBLkN }
	return s.compare(share, func(lo, hi float64) string {
		if hi <= 1.3*lo || hi-lo <= 0.03 {
			return ""
		}
		return fmt.Sprintf("set to between %.0f and %.0f %% of MBL", 100*lo, 100*hi)
	})
}

// compare holds the least and the most of a group against each other.
func (s *scene) compare(of func(i int) float64, judge func(lo, hi float64) string) []Remark {
	var out []Remark
	for _, lines := range s.members() {
		lo, hi := of(lines[0]), of(lines[0])
		for _, i := range lines {
			lo, hi = min(lo, of(i)), max(hi, of(i))
		}
		if text := judge(lo, hi); text != "" {
			out = append(out, Remark{Severity: Poor, Lines: s.ids(lines), Text: text})
		}
	}
	return out
}

func pretensionLevel(s *scene) []Remark {
	return s.lineByLine(" %", func(i int) finding {
		l := &s.Lines[i]
		share := 100 * l.PretensionKN / l.MBLkN
		switch {
		case l.PretensionKN >= s.WorkingLoadKN(i):
			return finding{Serious, "set to %s of MBL, over the working load limit", share}
		case share > 25:
			return finding{Poor, "set to %s of MBL, over 25 %%", share}
		case share < 5:
			return finding{Poor, "set to only %s of MBL, under 5 %%", share}
		}
		return finding{}
	})
}
