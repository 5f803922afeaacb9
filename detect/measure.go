package detect

// Measure is the statistic that a detector compares with a threshold. A condition has
// one or several; Change.By says which of them it was raised by.
type Measure uint8

// The measures, in the order of the conditions.
const (
	Unmeasured   Measure = iota
	PartedLLR            // line-parted
	SecondMean           // over-limit
	PaidOut              // brake-slip
	LoadLost             // brake-slip, without a pay-out sensor
	Jerk                 // the same
	UnseenLLR            // redistribution
	SnapPeak             // snap-load
	MinuteMean           // approaching-limit, by its level
	TimeToLimit          // approaching-limit, by its trend
	GroupShare           // imbalance
	SlackMean            // slack-line
	Silence              // sensor-fault: gap
	BadShare             // bad readings
	OutsideRange         // out of range
	SpikeCount           // spikes
	StuckRange           // stuck
	AllStill             // stuck, all pins at once
	ZeroCusum            // zero
	HoldingLLR           // dead
	measures
)

var measureTexts = [measures]struct {
	name, unit string
	below      bool
}{
	Unmeasured:   {"", "", false},
	PartedLLR:    {"log-likelihood ratio that the ship lost the line's pull", "", false},
	SecondMean:   {"mean load over 1 s", "kN", false},
	PaidOut:      {"paid out within 60 s, brake set", "m", false},
	LoadLost:     {"load lost within 60 s that the other lines do not explain", "kN", false},
	Jerk:         {"fall of the load at a stroke, twice from the same load", "kN", false},
	UnseenLLR:    {"log-likelihood ratios that a line without a good pin let go, summed", "", false},
	SnapPeak:     {"load within 2 s of hanging slack", "kN", false},
	MinuteMean:   {"mean load over 60 s", "kN", false},
	TimeToLimit:  {"time until the trend reaches the working load limit", "min", true},
	GroupShare:   {"mean share of MBL over 60 s", "%", false},
	SlackMean:    {"mean load over 60 s", "kN", true},
	Silence:      {"time since the last reading of the pin", "s", false},
	BadShare:     {"share of bad readings within 10 s", "%", false},
	OutsideRange: {"time outside what the line can carry", "s", false},
	SpikeCount:   {"isolated readings within 60 s", "", false},
	StuckRange:   {"range of the load by the other lines while the pin stood still", "kN", false},
	AllStill:     {"time since any pin read anything new", "s", false},
	ZeroCusum:    {"cumulative sum of the pin's shift, in standard deviations", "", false},
	HoldingLLR:   {"log-likelihood ratio that the ship has kept the line's pull", "", false},
}

// String describes the measure in words.
func (m Measure) String() string { return measureTexts[m].name }

// Unit is the measure's unit, empty where it is a plain number.
func (m Measure) Unit() string { return measureTexts[m].unit }

// Below reports whether the condition is raised under the threshold, not over it.
func (m Measure) Below() bool { return measureTexts[m].below }

// measure is the statistic by which a fault of a pin is raised.
func (f fault) measure() Measure {
	return [...]Measure{healthy: Unmeasured, gap: Silence, badReadings: BadShare, outOfRange: OutsideRange,
		spiking: SpikeCount, stuckPin: StuckRange, allStuck: AllStill, zeroShift: ZeroCusum, deadPin: HoldingLLR}[f]
}
