package fatigue

// Crossings counts in counts[i] the crossings of levels[i], which rise, by the leg
// from one turning point to the next: upward where a level is at or above the
// reference, downward where it is below, a level that a leg ends on included. This
// is level-crossing counting by ASTM E1049-85, 5.1.
func Crossings(levels []float64, reference, from, to float64, counts []uint64) {
	for i, level := range levels {
		up := level >= reference && from < level && level <= to
		down := level < reference && to <= level && level < from
		if up || down {
			counts[i]++
		}
	}
}
