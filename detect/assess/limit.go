package assess

// Limit is how far a line's load has come, in rising order.
type Limit uint8

const (
	Below       Limit = iota
	Approaching       // at the plan's approach fraction of the working load limit
	WorkingLoad       // at the working load limit
	Brake             // at the load at which the winch brake renders
	Breaking          // at the breaking load of main line or tail
)

var limitNames = [...]string{Below: "below", Approaching: "approaching", WorkingLoad: "working-load",
	Brake: "brake", Breaking: "breaking"}

// String is the word in tables and JSON.
func (l Limit) String() string { return limitNames[l] }

// Limit is the furthest limit that line i has reached at a load.
func (m *Mooring) Limit(i int, tensionKN float64) Limit {
	b := &m.bounds[i]
	switch {
	case tensionKN >= b.breaking:
		return Breaking
	case tensionKN >= b.render:
		return Brake
	case tensionKN >= b.working:
		return WorkingLoad
	case tensionKN >= m.approach(i):
		return Approaching
	}
	return Below
}

// limitKN is the load at which line i reaches a limit.
func (m *Mooring) limitKN(i int, l Limit) float64 {
	switch b := &m.bounds[i]; l {
	case Breaking:
		return b.breaking
	case Brake:
		return b.render
	case WorkingLoad:
		return b.working
	}
	return m.approach(i)
}

// approach is the load at which the watch warns of line i.
func (m *Mooring) approach(i int) float64 {
	return m.plan.Limits.ApproachFraction * m.bounds[i].working
}

// slack says whether line i hangs while the rest of its group hold, by the
// plan's fraction. That the rest carry 0.08 of MBL: common practice, no source.
func (m *Mooring) slack(i int, tension []float64) bool {
	const restHolds = 0.08
	rest, n := m.restShare(i, tension)
	return m.fast(i) && n > 0 && tension[i] < float64(m.plan.Limits.SlackFraction)*m.plan.Lines[i].MBLkN && rest >= restHolds
}

// uneven is by how much of its MBL line i carries more than the plan's ratio
// allows over the rest of its group, 0 where it does not.
func (m *Mooring) uneven(i int, tension []float64) float64 {
	rest, n := m.restShare(i, tension)
	share := tension[i] / m.plan.Lines[i].MBLkN
	if n == 0 || share < float64(m.plan.Limits.ImbalanceFloor) {
		return 0
	}
	return max(0, share-m.plan.Limits.ImbalanceRatio*rest)
}

// restShare is the mean share of MBL of the rest of line i's group that is made
// fast, and how many lines they are.
func (m *Mooring) restShare(i int, tension []float64) (mean float64, n int) {
	for j := range m.plan.Lines {
		if j != i && m.plan.Lines[j].Group == m.plan.Lines[i].Group && m.fast(j) {
			mean += tension[j] / m.plan.Lines[j].MBLkN
			n++
		}
	}
	return mean / max(float64(n), 1), n
}

// fast says whether line i is made fast.
func (m *Mooring) fast(i int) bool { return m.lengths[i] < unfast }

// unfast is beyond any line's length: one not made fast is +Inf long.
const unfast = 1e9
