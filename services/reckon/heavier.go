package reckon

import (
	"math"
	"slices"

	"hawser/detect/mooring"
	"hawser/services/live"
)

// rising is how much more the hardest loaded line carries by the last seconds' means
// than by the minute's before those are taken (common practice, no source): under it
// the two differ by waves.
const rising = 1.1

// heavier are the loads to reckon the loss of a line from, and over how many seconds
// they are means: the last minute, or the last seconds where the mooring is by those
// clearly harder loaded, as in a gale that gets up or after a parting. By the minute
// the loss of a line would then bring another to less than it carries already.
// Lines that have parted count for nothing.
func heavier(means *live.Means, parted []int) (kN []float64, seconds int) {
	if hardest(means.Plan, means.RecentKN, parted) > rising*hardest(means.Plan, means.TensionKN, parted) {
		return means.RecentKN, live.RecentSeconds
	}
	return means.TensionKN, live.MeanSeconds
}

// hardest is the largest share that a line carries of its working load limit.
func hardest(p *mooring.Plan, kN []float64, parted []int) float64 {
	most := 0.0
	for i := range kN {
		if !math.IsNaN(kN[i]) && !slices.Contains(parted, i) {
			most = max(most, kN[i]/p.WorkingLoadKN(i))
		}
	}
	return most
}
