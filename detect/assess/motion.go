package assess

import (
	"math"

	"hawser/detect/mooring"
)

// Work is what a ship does alongside, for which motions are too large or not.
type Work uint8

// The kinds of cargo work with published criteria.
const (
	Tanker Work = iota + 1
	GasTanker
	Container     // at full efficiency
	ContainerSlow // at half
	BulkCranes    // dry bulk by crane
	BulkElevator  // by elevator or bucket wheel
	BulkBelt      // by conveyor belt
	GeneralCargo  // break bulk
	RoRoSideRamp  //
	RoRoLinkspan  //
	workKinds
)

// Criterion is the motion up to which a kind of work goes on, peak to peak, but
// for sway, which is from the fenders outward. NaN where none is given.
type Criterion struct {
	Work                  string
	SurgeM, SwayM, YawDeg float64
}

// criteria are the recommended motion criteria for safe working conditions of
// PIANC 1995 (working group 24, supplement to bulletin 88), from memory: confirm
// against the text before any is relied on. Heave, pitch and roll have criteria
// as well; a mooring at rest tells nothing of them.
var criteria = [workKinds]Criterion{
	Tanker:        {"tanker", 3.0, 3.0, math.NaN()},
	GasTanker:     {"gas-tanker", 2.0, 2.0, 2},
	Container:     {"container", 1.0, 0.6, 1},
	ContainerSlow: {"container-half-rate", 2.0, 1.2, 1.5},
	BulkCranes:    {"bulk-cranes", 2.0, 1.0, 2},
	BulkElevator:  {"bulk-elevator", 1.0, 0.5, 2},
	BulkBelt:      {"bulk-belt", 5.0, 2.5, 3},
	GeneralCargo:  {"general", 2.0, 1.5, 3},
	RoRoSideRamp:  {"ro-ro-side-ramp", 0.6, 0.6, 1},
	RoRoLinkspan:  {"ro-ro-linkspan", 0.4, 0.6, 3},
}

// Criterion is the criterion of a kind of work.
func (w Work) Criterion() Criterion { return criteria[w] }

// String is the work's name on the command line.
func (w Work) String() string { return criteria[w].Work }

// Works are all kinds of work with a criterion.
func Works() []Work {
	var all []Work
	for w := Tanker; w < workKinds; w++ {
		all = append(all, w)
	}
	return all
}

// Motion is how far the ship is moved, peak to peak.
type Motion struct{ SurgeM, SwayM, YawDeg float64 }

// The wind given is a mean over ten minutes; the ship follows means over half a
// minute, as mooring.Gust has it.
const (
	meanSeconds   = 600
	followSeconds = 30
)

// Followed is the strongest half minute, which a moored ship follows, of a wind
// whose mean over ten minutes this is; in any unit of speed.
func Followed(mean float64) float64 { return mooring.Gust(mean, meanSeconds, followSeconds) }

// Motion is how far the ship goes between the lulls and the gusts of the wind,
// each slow enough for her to come to rest in it: an estimate of the slow part
// only. Waves, swell and passing ships move her more, often far more, and are not
// in it.
func (m *Mooring) Motion(c Conditions) (Motion, error) {
	lull, gust := c, c
	gust.WindMS = Followed(c.WindMS)
	lull.WindMS = max(0, 2*c.WindMS-gust.WindMS)
	a, err := m.Steady(lull)
	if err != nil {
		return Motion{}, err
	}
	b, err := m.rest().still(m.Force(gust), m.lengths, a.Pose)
	if err != nil {
		return Motion{}, err
	}
	return Motion{
		SurgeM: math.Abs(b.Pose.SurgeM - a.Pose.SurgeM),
		SwayM:  max(0, b.Pose.SwayM, a.Pose.SwayM),
		YawDeg: math.Abs(b.Pose.YawRad-a.Pose.YawRad) * 180 / math.Pi,
	}, nil
}

// Within says whether a motion keeps to a criterion.
func (m Motion) Within(c Criterion) bool {
	return !(m.SurgeM > c.SurgeM || m.SwayM > c.SwayM || m.YawDeg > c.YawDeg)
}
