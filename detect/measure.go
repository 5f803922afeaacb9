package detect

// Measure is what a detector holds against a threshold. A condition has one or
// several; Change.By says which of them it was raised by.
type Measure uint8

// The measures, in the order of the conditions.
const (
	Unmeasured   Measure = iota
	PartedLLR            // line-parted
	SecondMean           // over-limit
	PaidOut              // brake-slip
	LoadLost             // brake-slip, where no drum tells
	UnseenLLR            // redistribution
	SnapPeak             // snap-load
	MinuteMean           // approaching-limit, by what it stands at
	TimeToLimit          // approaching-limit, by where it goes
	GroupShare           // imbalance
	SlackMean            // slack-line
	Silence              // sensor-fault: gap
	BadShare             // bad readings
	OutsideRange         // out of range
	SpikeCount           // spikes
	StuckRange           // stuck
	ZeroCusum            // zero
	HoldingLLR           // dead
	measures
)

var measureTexts = [measures]struct {
	name, unit string
	below      bool
}{
	Unmeasured:   {"", "", false},
	PartedLLR:    {"log of the odds that the ship lost the line's pull", "", false},
	SecondMean:   {"mean load over 1 s", "kN", false},
	PaidOut:      {"paid out within 60 s, brake set", "m", false},
	LoadLost:     {"load lost within 60 s against the word of the other lines", "kN", false},
	UnseenLLR:    {"log of the odds of the ship's move by a pull lost unseen", "", false},
	SnapPeak:     {"load within 2 s of hanging slack", "kN", false},
	MinuteMean:   {"mean load over 60 s", "kN", false},
	TimeToLimit:  {"time to the working load limit by the trend", "min", true},
	GroupShare:   {"mean share of MBL over 60 s", "%", false},
	SlackMean:    {"mean load over 60 s", "kN", true},
	Silence:      {"time since the pin was heard", "s", false},
	BadShare:     {"share of readings of 10 s that are no numbers", "%", false},
	OutsideRange: {"time outside what the line can carry", "s", false},
	SpikeCount:   {"readings that stood alone within 60 s", "", false},
	StuckRange:   {"move of the load by the other lines while the pin stood still", "kN", false},
	ZeroCusum:    {"cumulative sum of the pin's shift, in standard deviations", "", false},
	HoldingLLR:   {"log of the odds that the ship has kept the line's pull", "", false},
}

// String says in words what is measured.
func (m Measure) String() string { return measureTexts[m].name }

// Unit is the measure's unit, empty where it is a plain number.
func (m Measure) Unit() string { return measureTexts[m].unit }

// Below reports whether what is under the threshold is told, not what is over it.
func (m Measure) Below() bool { return measureTexts[m].below }

// measure is what a fault of a pin is told by.
func (f fault) measure() Measure {
	return [...]Measure{healthy: Unmeasured, gap: Silence, badReadings: BadShare, outOfRange: OutsideRange,
		spiking: SpikeCount, stuckPin: StuckRange, zeroShift: ZeroCusum, deadPin: HoldingLLR}[f]
}
