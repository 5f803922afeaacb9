package alarm

import (
	"fmt"
	"slices"
	"strings"
)

// silenceDetail says which load pins fell silent together, in the order in which they
// did, and what to look at first; before is how many did earlier.
func silenceDetail(berth string, many []*State, before int) string {
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
	on, first := "", "their gateway, its supply, link and clock"
	switch {
	case len(gateways) == 1:
		on, first = ", on gateway "+gateways[0]+",", "this gateway, its supply, link and clock"
	case len(gateways) > 0:
		on, first = ", on gateways "+strings.Join(gateways, ", ")+",", "what these gateways share, supply, network and clock"
	}
	earlier := ""
	if before > 0 {
		earlier = fmt.Sprintf(", %d more before them", before)
	}
	return fmt.Sprintf("%d load pins of berth %s%s stopped sending at %s%s, lines %s: watch these lines by the ship's own means; look first at %s.",
		len(many), berth, on, many[0].Onset.UTC().Format("15:04:05 UTC"), earlier, strings.Join(lines, ", "), first)
}
