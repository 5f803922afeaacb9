package tide

// constituent is one wave of the tide. Its argument is V + u: V from where moon
// and sun stand, u from the node.
type constituent struct {
	name string
	// hour to solarPerigee are the multiples of the sky's angles in V, and
	// quarters those of 90 degrees.
	hour, moon, sun, perigee, solarPerigee, quarters float64
	// parts are the waves whose node corrections make up this one's: u is the
	// sum of their u, each as often as it counts, f the product of their f,
	// whichever way it counts.
	parts []part
}

type part struct {
	node
	times float64
}

func once(n node) []part             { return []part{{n, 1}} }
func times(n node, k float64) []part { return []part{{n, k}} }

// constituents are the 37 of the US tide tables, under the names used there.
// Multiples and corrections: Schureman, Table 2, from memory, held by tests to
// published speeds and to another implementation. Compound waves are made up of
// their parts, as there. So is MSf here, after the International Hydrographic
// Organization's list: as an astronomical wave it is too small to be seen, and
// what is found in harbours is the beat of M2 and S2.
func constituents() []constituent {
	m2, o1, k1 := once(nodeM2), once(nodeO1), once(nodeK1)
	return []constituent{
		{"SA", 0, 0, 1, 0, 0, 0, nil},
		{"SSA", 0, 0, 2, 0, 0, 0, nil},
		{"MM", 0, 1, 0, -1, 0, 0, once(nodeMm)},
		{"MSF", 0, 2, -2, 0, 0, 0, times(nodeM2, -1)},
		{"MF", 0, 2, 0, 0, 0, 0, once(nodeMf)},

		{"2Q1", 1, -4, 1, 2, 0, 1, o1},
		{"Q1", 1, -3, 1, 1, 0, 1, o1},
		{"RHO", 1, -3, 3, -1, 0, 1, o1},
		{"O1", 1, -2, 1, 0, 0, 1, o1},
		{"M1", 1, -1, 1, 1, 0, -1, once(nodeM1)},
		{"P1", 1, 0, -1, 0, 0, 1, nil},
		{"S1", 1, 0, 0, 0, 0, 0, nil},
		{"K1", 1, 0, 1, 0, 0, -1, k1},
		{"J1", 1, 1, 1, -1, 0, -1, once(nodeJ1)},
		{"OO1", 1, 2, 1, 0, 0, -1, once(nodeOO1)},

		{"2N2", 2, -4, 2, 2, 0, 0, m2},
		{"MU2", 2, -4, 4, 0, 0, 0, m2},
		{"N2", 2, -3, 2, 1, 0, 0, m2},
		{"NU2", 2, -3, 4, -1, 0, 0, m2},
		{"M2", 2, -2, 2, 0, 0, 0, m2},
		{"LAM2", 2, -1, 0, 1, 0, 2, m2},
		{"L2", 2, -1, 2, -1, 0, 2, once(nodeL2)},
		{"T2", 2, 0, -1, 0, 1, 0, nil},
		{"S2", 2, 0, 0, 0, 0, 0, nil},
		{"R2", 2, 0, 1, 0, -1, 2, nil},
		{"K2", 2, 0, 2, 0, 0, 0, once(nodeK2)},
		{"2SM2", 2, 2, -2, 0, 0, 0, times(nodeM2, -1)},

		{"2MK3", 3, -4, 3, 0, 0, 1, []part{{nodeM2, 2}, {nodeK1, -1}}},
		{"M3", 3, -3, 3, 0, 0, 0, times(nodeM2, 1.5)},
		{"MK3", 3, -2, 3, 0, 0, -1, []part{{nodeM2, 1}, {nodeK1, 1}}},
		{"MN4", 4, -5, 4, 1, 0, 0, times(nodeM2, 2)},
		{"M4", 4, -4, 4, 0, 0, 0, times(nodeM2, 2)},
		{"MS4", 4, -2, 2, 0, 0, 0, m2},
		{"S4", 4, 0, 0, 0, 0, 0, nil},
		{"M6", 6, -6, 6, 0, 0, 0, times(nodeM2, 3)},
		{"S6", 6, 0, 0, 0, 0, 0, nil},
		{"M8", 8, -8, 8, 0, 0, 0, times(nodeM2, 4)},
	}
}

// find is the constituent of this name, or nil.
func find(name string) *constituent {
	all := constituents()
	for i := range all {
		if all[i].name == name {
			return &all[i]
		}
	}
	return nil
}
