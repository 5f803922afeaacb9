// Package mooring is the mechanics of a ship alongside: the plan, its frame and
// geometry, and the law of a line's load. It is pure: no I/O, no clock, nothing
// of ours below it. Its invariant: a Plan that came through planfile is
// complete and in range, so the mechanics need not doubt it.
//
// Frame: x along the berth line, positive toward the ship's bow; y across, 0 at
// the fender face, positive from quay to water; z up from chart datum. Metres,
// kilonewtons, seconds; angles in radians unless the name says otherwise.
package mooring

// Plan is one ship at one berth.
type Plan struct {
	Berth      string
	Ship       Ship
	Reference  Reference
	HeadingDeg float64 // true bearing of +x
	Fenders    []Fender
	Side       Side
	Limits     Limits
	Lines      []Line // in the plan's order, 1 to 64
	Tide       *Tide  // nil where the plan does not say
}

// Side is the ship's side that lies to the quay.
type Side uint8

const (
	Starboard Side = iota // +y is 90 degrees to the left of +x seen from above
	Port                  // +y is 90 degrees to the right of +x
)

// Ship is the moored ship.
type Ship struct {
	Name          string
	LoaM          float64
	BeamM         float64
	DisplacementT float64 // tonnes
	SideWindageM2 float64
	EndWindageM2  float64
	// Windage is her side by height, nil for one block in the wind of 10 m.
	Windage *Windage
	// WindBy and CurrentBy are her own coefficients, nil for the published forms.
	WindBy, CurrentBy *Coefficients
}

// Reference is the state in which the plan's coordinates hold.
type Reference struct {
	DraftFwdM   float64
	DraftAftM   float64
	WaterLevelM float64 // above chart datum
}

// Fender pushes along +y when compressed, never pulls.
type Fender struct {
	XM, ZM          float64
	StiffnessKNPerM float64
}

// Limits are the settled limits of the conditions, defaults filled in.
type Limits struct {
	// WorkingLoadFraction is the working load limit as a fraction of MBL for
	// every material, or 0: by material (see Line.WorkingLoadKN).
	WorkingLoadFraction float64
	ApproachFraction    float64 // of the working load limit
	ApproachMinutes     float64
	ImbalanceRatio      float64
	ImbalanceFloor      Share
	SlackFraction       Share
	SnapFraction        Share
	SlipM               float64
}

// DefaultLimits are the limits where a plan says nothing else.
func DefaultLimits() Limits {
	return Limits{
		ApproachFraction: 0.80, ApproachMinutes: 30,
		ImbalanceRatio: 1.5, ImbalanceFloor: 0.15,
		SlackFraction: 0.02, SnapFraction: 0.30, SlipM: 0.05,
	}
}

// Share is a load as a fraction of ship design MBL.
type Share float64

// Group is a line's place and purpose.
type Group uint8

const (
	Head Group = iota + 1
	FwdBreast
	FwdSpring
	AftSpring
	AftBreast
	Stern
)

var groupNames = [...]string{Head: "head", FwdBreast: "fwd-breast", FwdSpring: "fwd-spring",
	AftSpring: "aft-spring", AftBreast: "aft-breast", Stern: "stern"}

// String is the group's name in plans and alarms.
func (g Group) String() string {
	if g == 0 || int(g) >= len(groupNames) {
		return "unknown"
	}
	return groupNames[g]
}

// Material of a line or tail.
type Material uint8

const (
	SteelWire Material = iota + 1
	HMPE               // high-modulus polyethylene
	Aramid
	Polyester
	Polyamide
	Polypropylene
	Polyolefin
	MixedFibre
)

var materialNames = [...]string{SteelWire: "steel-wire", HMPE: "hmpe", Aramid: "aramid",
	Polyester: "polyester", Polyamide: "polyamide", Polypropylene: "polypropylene",
	Polyolefin: "polyolefin", MixedFibre: "mixed-fibre"}

// String is the material's name in plans.
func (m Material) String() string {
	if m == 0 || int(m) >= len(materialNames) {
		return "unknown"
	}
	return materialNames[m]
}

// MadeFast is what holds a line's inboard end.
type MadeFast uint8

const (
	Winch MadeFast = iota + 1
	Bitts
)

// String is the word used in plans.
func (m MadeFast) String() string {
	switch m {
	case Winch:
		return "winch"
	case Bitts:
		return "bitts"
	}
	return "unknown"
}

// Point is a place in the plan's frame, metres.
type Point struct{ X, Y, Z float64 }

// Line is one mooring line from drum or bitts over the fairlead to the hook.
type Line struct {
	ID            string
	Group         Group
	Fairlead      Point // at the plan's reference drafts and water level
	Hook          Point
	InboardM      float64 // between fairlead and drum or bitts
	Material      Material
	DiameterMM    float64
	MBLkN         float64 // ship design minimum breaking load
	Tail          *Tail   // nil for none
	PretensionKN  float64
	MadeFast      MadeFast
	BrakeRenderKN float64 // 0 where not given
	BrakeHoldKN   float64 // 0 where not given
	Instrumented  bool    // has a load pin
	// FairleadDiameterMM is of the roller or the rounding that the line bends over;
	// 0 where not given.
	FairleadDiameterMM float64
	// BreakStrain is the elongation at break by the rope's certificate, of its
	// length; 0 for the material's.
	BreakStrain float64
	// Rope is the number on the rope's certificate or tag, "" where not given.
	Rope string
}

// Tail is a stretchier length between main line and hook.
type Tail struct {
	Material    Material
	LengthM     float64
	DiameterMM  float64
	MBLkN       float64
	BreakStrain float64 // as of a Line
}

// Working load limits as fractions of ship design MBL: steel wire 0.55, all
// other cordage 0.50. Source: MEG 4th edition (2018) as used with SOLAS
// II-1/3-8 in force from 2024, read in a flag registry's circular.
const (
	wireWorkingLoad  = 0.55
	fibreWorkingLoad = 0.50
)

// WorkingLoadKN is line i's working load limit.
func (p *Plan) WorkingLoadKN(i int) float64 {
	l := &p.Lines[i]
	switch {
	case p.Limits.WorkingLoadFraction > 0:
		return p.Limits.WorkingLoadFraction * l.MBLkN
	case l.Material == SteelWire:
		return wireWorkingLoad * l.MBLkN
	default:
		return fibreWorkingLoad * l.MBLkN
	}
}

// Line is the index of the line with this id, or -1.
func (p *Plan) Line(id string) int {
	for i := range p.Lines {
		if p.Lines[i].ID == id {
			return i
		}
	}
	return -1
}
