package simulate

import (
	"cmp"
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
	Cargo   Cargo
	Sensors Sensors
	Events  []Event // in any order
}

// Cargo is how fast the drafts change with cargo, m/h, deeper positive.
type Cargo struct{ FwdMH, AftMH float64 }

// Weather is the weather that goes on all the time.
type Weather struct {
	WindMS      float64 // mean speed at 10 m
	WindFromDeg float64 // true
	Turbulence  float64 // standard deviation of the speed by its mean
	WaveM       float64 // significant height; 0 is none
	WavePeriodS float64 // peak period; 0 is 8 s
	TideM       float64 // range from low to high water
	TideHours   float64 // hours since mid-tide, rising, at the start
	SwellM      float64 // significant height of a swell on top of the waves; 0 is none
	SwellS      float64 // its peak period; 0 is 10 s
}

// Sensors is how well the ship is read.
type Sensors struct {
	TensionStepKN  float64 // the pins' quantum in whole tenths of a kN; 0 is 0.1
	TensionNoiseKN float64 // standard deviation
	PayoutNoiseM   float64 // standard deviation
	TensionHz      int     // 1, 2, 4, 5, 10 or 20; 0 is 10
	PayoutHz       int     // 1, 2, 4 or 5; 0 is 1
	// ZeroShare and Gain are the standing errors of the pins: each reads off by up
	// to that share of MBL and of its load, either way.
	ZeroShare, Gain float64
	JitterMS        int     // readings are stamped up to this much late, under the tick of 50 ms
	ClockS          float64 // pins' clocks are fast by up to this, each by its own, up to 1 s
	DropoutsPerHour float64 // a line's channels fall silent for 1 to 6 s, each line of itself
	NoPayout        bool    // no line tells its pay-out or brake
	NoWind, NoLevel bool    // no wind; no water level and drafts
	NoWatch         bool    // nobody says that the berth is under watch
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
	// Flicker is as Stuck but for the last digit, which goes to and fro.
	Flicker
	// Spikes adds Value kN to single readings of Line's load pin, one about every
	// 8 s, for For.
	Spikes
	// ZeroShift moves the zero of Line's load pin by Value kN, evenly over For or
	// at once, for good.
	ZeroShift
	// OutOfRange makes Line's load pin read Value kN for For.
	OutOfRange
	// Surge lets Line run out by Value m within half a second, on drum or bitts,
	// with the brake set.
	Surge
	// Creep lets Line run out by Value m a minute for For, with the brake set.
	Creep
	// Pass is a ship that passes for For and draws the moored one off by up to
	// Value kN, toward her and along (see passing).
	Pass
	// Swell is a short-lived swell of Value m significant height and the weather's
	// SwellS, that builds and dies over a quarter of For each.
	Swell
	// Dead makes Line's load pin read Value kN, and its noise, for For.
	Dead
	// Yield lets Line's bollard or hook give by Value m toward the ship within a
	// second, for good; nothing is paid out.
	Yield
	kinds
)

var kindNames = [kinds]string{Gust: "gust", WeakBrake: "weak brake", Part: "part", Tend: "tend",
	Gap: "gap", NotANumber: "not a number", Stuck: "stuck", StandDown: "stand down", Flicker: "flicker",
	Spikes: "spikes", ZeroShift: "zero shift", OutOfRange: "out of range", Surge: "surge", Creep: "creep", Pass: "pass", Swell: "swell",
	Dead: "dead", Yield: "yield"}

// String is the kind in words.
func (k Kind) String() string {
	if k == 0 || k >= kinds {
		return "unknown"
	}
	return kindNames[k]
}

func (k Kind) ofLine() bool { return k != Gust && k != StandDown && k != Pass && k != Swell }
func (k Kind) lasts() bool {
	return k == Gust || k >= Gap && k != ZeroShift && k != Surge && k != Yield
}

// signed reports whether the kind's value may be negative: a pin reads low.
func (k Kind) signed() bool {
	return k == Spikes || k == ZeroShift || k == OutOfRange || k == Pass || k == Dead
}

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
	s.Window = cmp.Or(s.Window, time.Second)
	s.Weather.WavePeriodS = cmp.Or(s.Weather.WavePeriodS, 8)
	s.Weather.SwellS = cmp.Or(s.Weather.SwellS, 10)
	s.Sensors.TensionStepKN = cmp.Or(s.Sensors.TensionStepKN, 0.1)
	s.Sensors.TensionHz = cmp.Or(s.Sensors.TensionHz, 10)
	s.Sensors.PayoutHz = cmp.Or(s.Sensors.PayoutHz, 1)
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
	case !slices.Contains([]int{1, 2, 4, 5, 10, 20}, s.Sensors.TensionHz):
		return fmt.Errorf("tension at %d Hz: 1, 2, 4, 5, 10 or 20 is needed", s.Sensors.TensionHz)
	case !slices.Contains([]int{1, 2, 4, 5}, s.Sensors.PayoutHz):
		return fmt.Errorf("pay-out at %d Hz: 1, 2, 4 or 5 is needed", s.Sensors.PayoutHz)
	case s.Sensors.JitterMS < 0 || s.Sensors.JitterMS >= int(tick/time.Millisecond):
		return fmt.Errorf("jitter %d ms: 0 to 49 is needed", s.Sensors.JitterMS)
	}
	w := &s.Weather
	for _, n := range []struct {
		name        string
		value, most float64
	}{
		{"wind", w.WindMS, 60}, {"wind direction", w.WindFromDeg, 360}, {"turbulence", w.Turbulence, 1},
		{"wave height", w.WaveM, 10}, {"wave period", w.WavePeriodS, 30}, {"tide", w.TideM, 20},
		{"tension noise", s.Sensors.TensionNoiseKN, 1e3}, {"pay-out noise", s.Sensors.PayoutNoiseM, 1},
		{"swell height", w.SwellM, 10}, {"swell period", w.SwellS, 300}, {"hours of tide", w.TideHours, 24},
		{"standing zero error", s.Sensors.ZeroShare, 0.1}, {"standing gain error", s.Sensors.Gain, 0.2},
		{"clock error", s.Sensors.ClockS, 1}, {"dropouts", s.Sensors.DropoutsPerHour, 360},
		{"cargo forward", math.Abs(s.Cargo.FwdMH), 5}, {"cargo aft", math.Abs(s.Cargo.AftMH), 5},
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
	case !(math.Abs(e.Value) < 1e6) || e.Value < 0 && !e.Kind.signed():
		return fmt.Errorf("value %g is out of range", e.Value)
	case e.Kind == WeakBrake && !(0 < e.HoldKN && e.HoldKN < e.Value):
		return fmt.Errorf("a brake holds again under the %g kN it renders at, not at %g", e.Value, e.HoldKN)
	}
	return nil
}
