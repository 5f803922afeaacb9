package alarm

import (
	"fmt"
	"slices"
	"strings"
)

// more is why an alarm ends though its lines are no better.
var more = map[string]string{
	PinsSilent: "More load pins have fallen silent since: another alarm is raised for all.",
	PinsStill:  "More load pins have come to a standstill since: another alarm is raised for all.",
}

// detail says which load pins fell silent or still together, and what to look at first;
// before is how many did earlier.
func (b *joint) detail(many []*State, before int) string {
	var lines, gateways []string
	for _, s := range many {
		lines = append(lines, s.Line)
		if s.Source != "" {
			gateways = append(gateways, s.Source)
		}
	}
	slices.SortFunc(lines, numbered)
	slices.Sort(gateways)
	gateways = slices.Compact(gateways)
	did, so, of, shared := "stopped sending at", "", ", its supply, link and clock", ", supply, network and clock"
	if b.condition == PinsStill {
		did, so = "have read nothing new since", "; what is sent is not what the lines carry"
		of, shared = " and what it reads from", " and what they read from"
	}
	on, first := "", "their gateway"+of
	switch {
	case len(gateways) == 1:
		on, first = ", on gateway "+gateways[0]+",", "this gateway"+of
	case len(gateways) > 0:
		on, first = ", on gateways "+strings.Join(gateways, ", ")+",", "what these gateways share"+shared
	}
	earlier := ""
	if before > 0 {
		earlier = fmt.Sprintf(", %d more before them", before)
	}
	return fmt.Sprintf("%d load pins of berth %s%s %s %s%s, lines %s%s: watch these lines by the ship's own means; look first at %s.",
		len(many), b.berth, on, did, many[0].Onset.UTC().Format("15:04:05 UTC"), earlier, strings.Join(lines, ", "), so, first)
}
