package simulate

import (
	"fmt"
	"math"
	"slices"
	"time"

	"hawser/detect/mooring"
)

// Story is what happens to the ship. The zero value of a field that says so is
// its default.
type Story struct {
	Seed   uint64
	Start  time.Time     // time of the first reading
	Window time.Duration // span of a block, whole tenths of a second; 0 is 1 s
	// Length is the time after which the story loops or ends. Told neither, the
	// weather goes on for ever and nothing more happens; 0 is then allowed.
	Length  time.Duration
	Loop    bool
	Ends    bool
	Weather Weather
	Sensors Sensors
	Events  []Event // in any order
}

// Weather is the weather that goes on all the time.
type Weather struct {
	WindMS      float64 // mean speed at 10 m
	WindFromDeg float64 // true
	Turbulence  float64 // standard deviation of the speed by its mean
	WaveM       float64 // significant height; 0 is none
	WavePeriodS float64 // peak period; 0 is 8 s
	TideM       float64 // range from low to high water; the start is at mid-tide, rising
}

// Sensors is how well the ship is read.
type Sensors struct {
	TensionStepKN  float64 // the pins' quantum in whole tenths of a kN; 0 is 0.1
	TensionNoiseKN float64 // standard deviation
	PayoutNoiseM   float64 // standard deviation
}

// Kind is what an event is.
type Kind uint8

const (
	// Gust adds up to Value m/s to the wind, building and dying over a quarter of
	// For each.
	Gust Kind = iota + 1
	// WeakBrake makes Line's brake (or its turns on the bitts) render at Value kN
	// and hold again at HoldKN, until it is tended or For has passed.
	WeakBrake
	// Part breaks Line.
	Part
	// Tend works Line with the brake released until it carries Value kN. A line
	// that parted is replaced first.
	Tend
	// Gap keeps Line's load pin from sending for For.
	Gap
	// NotANumber makes Line's load pin send no numbers for For.
	NotANumber
	// Stuck makes Line's load pin repeat its last value for For.
	Stuck
	// StandDown takes the berth off watch for For.
	StandDown
	kinds
)

var kindNames = [kinds]string{Gust: "gust", WeakBrake: "weak brake", Part: "part", Tend: "tend",
	Gap: "gap", NotANumber: "not a number", Stuck: "stuck", StandDown: "stand down"}

// String is the kind in words.
func (k Kind) String() string {
	if k == 0 || k >= kinds {
		return "unknown"
	}
	return kindNames[k]
}

func (k Kind) ofLine() bool { return k != Gust && k != StandDown }
func (k Kind) lasts() bool  { return k == Gust || k >= Gap }

// Event is one thing that happens.
type Event struct {
	At     time.Duration // since the story began
	Kind   Kind
	Line   string        // id, for what happens to a line
	For    time.Duration // for what lasts; 0 for a weak brake is until tended
	Value  float64
	HoldKN float64 // WeakBrake only; 0 is nine tenths of Value
}

func (s Story) withDefaults() Story {
	if s.Window == 0 {
		s.Window = time.Second
	}
	if s.Weather.WavePeriodS == 0 {
		s.Weather.WavePeriodS = 8
	}
	if s.Sensors.TensionStepKN == 0 {
		s.Sensors.TensionStepKN = 0.1
	}
	s.Events = slices.Clone(s.Events)
	for i := range s.Events {
		if e := &s.Events[i]; e.Kind == WeakBrake && e.HoldKN == 0 {
			e.HoldKN = 0.9 * e.Value
		}
	}
	return s
}

// longestWindow keeps a block's columns within what a batch may hold.
const longestWindow = time.Minute

func (s *Story) validate(plan *mooring.Plan) error {
	tenths := s.Sensors.TensionStepKN * 10
	switch {
	case s.Start.IsZero():
		return fmt.Errorf("start: a time is needed")
	case s.Window < tick || s.Window > longestWindow || s.Window%(100*time.Millisecond) != 0:
		return fmt.Errorf("window %v: whole tenths of a second up to %v are needed", s.Window, longestWindow)
	case s.Loop && s.Ends:
		return fmt.Errorf("a story loops or ends, not both")
	case (s.Loop || s.Ends) && s.Length <= 0:
		return fmt.Errorf("length %v: a story that loops or ends needs one", s.Length)
	case !(tenths >= 0.999 && math.Abs(tenths-math.Round(tenths)) < 1e-6):
		return fmt.Errorf("tension step %g kN: whole tenths are needed", s.Sensors.TensionStepKN)
	}
	w := &s.Weather
	for _, n := range []struct {
		name        string
		value, most float64
	}{
		{"wind", w.WindMS, 60}, {"wind direction", w.WindFromDeg, 360}, {"turbulence", w.Turbulence, 1},
		{"wave height", w.WaveM, 10}, {"wave period", w.WavePeriodS, 30}, {"tide", w.TideM, 20},
		{"tension noise", s.Sensors.TensionNoiseKN, 1e3}, {"pay-out noise", s.Sensors.PayoutNoiseM, 1},
	} {
		if !(n.value >= 0 && n.value <= n.most) {
			return fmt.Errorf("%s %g: 0 to %g is needed", n.name, n.value, n.most)
		}
	}
	for i, e := range s.Events {
		if err := e.validate(plan); err != nil {
			return fmt.Errorf("event %d (%v at %v): %w", i, e.Kind, e.At, err)
		}
	}
	return nil
}

func (e *Event) validate(plan *mooring.Plan) error {
	switch {
	case e.Kind == 0 || e.Kind >= kinds:
		return fmt.Errorf("kind %d is none of ours", e.Kind)
	case e.At < 0 || e.For < 0:
		return fmt.Errorf("time is negative")
	case e.Kind.lasts() && e.For < tick:
		return fmt.Errorf("for how long?")
	case e.Kind.ofLine() && plan.Line(e.Line) < 0:
		return fmt.Errorf("line %q is not in the plan", e.Line)
	case !(e.Value >= 0 && e.Value < 1e6):
		return fmt.Errorf("value %g is out of range", e.Value)
	case e.Kind == WeakBrake && !(0 < e.HoldKN && e.HoldKN < e.Value):
		return fmt.Errorf("a brake holds again under the %g kN it renders at, not at %g", e.Value, e.HoldKN)
	}
	return nil
}
