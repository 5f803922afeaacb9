package store

// PlanLine is what a mooring plan says of a line and its readings do not: what a
// reader of the store needs to draw loads by group or as shares.
type PlanLine struct {
	Line, Group   string
	MBLkN         float64 // ship design minimum breaking load
	WorkingLoadKN float64 // the limit that the alarms go by
}
