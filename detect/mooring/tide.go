package mooring

import "time"

// Tide is what the plan says of the water level at the berth over time: the
// harmonic constituents of its tidal station, or a table. One of them is empty.
type Tide struct {
	MeanLevelM   float64 // above chart datum, of the constituents
	Constituents []TidalConstituent
	Table        []TideLevel // two or more, in order of time, a second apart or more
}

// TidalConstituent is one wave of the tide as it is found at a station.
type TidalConstituent struct {
	Name       string // as in the US tide tables: M2, S2, K1
	AmplitudeM float64
	LagDeg     float64 // phase lag in Greenwich, behind the wave's argument there
}

// TideLevel is the level at a time, metres above chart datum.
type TideLevel struct {
	At     time.Time
	LevelM float64
}
