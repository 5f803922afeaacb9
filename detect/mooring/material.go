package mooring

import "math"

// curve is the load-elongation law of a material, T/MBL = soft*s + (1-soft)*s²
// with s the strain as a share of the strain at break: a line that stiffens as
// it is pulled where soft < 1, a straight one at 1. The square has an inverse in
// closed form; higher powers gain nothing while the figures below are this
// uncertain.
type curve struct {
	breakStrain float64
	soft        float64
}

// fabric is what a material is like as a rope, new and dry.
type fabric struct {
	curve
	// breakT is the breaking load of a 50 mm sample, tonnes-force.
	breakT float64
	// kgPerM is the mass of a metre of a 50 mm sample.
	kgPerM float64
}

// packed is the mass of a metre of 50 mm fibre rope of this specific gravity:
// fibre fills 0.68 of the circle, from memory of the laid and braided ropes of
// ISO 1140, 1141 and 1346, to 10 %.
func packed(gravity float64) float64 { return 0.68 * math.Pi / 4 * 2.5 * gravity }

// fabrics by material. Breaking loads and elongations at break: common practice,
// no source, trade figures for a 50 mm sample; those of aramid from memory. The
// elongations lie at the low (stiff) end of the handbooks' ranges, worked rope
// being stiffer than new. Mixed fibre is half polyester, half polypropylene, and
// stretches a little less than the mean of the two.
//
// The shapes: common practice, no source; wire and high-modulus fibre nearly
// straight, the others bending up; polyamide's gives a slope of about 3.5 MBL at
// working loads, as in UFC 4-159-03 Table 6-8 (AE = 3.54 times break strength).
//
// Masses: wire 0.0041 d² kg/m for six strands on a wire core, EN 12385-4, from
// memory; fibre from its specific gravity, textbook values from memory.
var fabrics = [...]fabric{
	SteelWire:     {curve{0.02, 0.9}, 150, 0.0041 * 50 * 50},
	HMPE:          {curve{0.035, 0.8}, 193, packed(0.97)},
	Aramid:        {curve{0.04, 0.8}, 145, packed(1.44)},
	Polyester:     {curve{0.12, 0.5}, 35, packed(1.38)},
	Polyamide:     {curve{0.20, 0.3}, 44, packed(1.14)},
	Polypropylene: {curve{0.20, 0.4}, 31, packed(0.91)},
	Polyolefin:    {curve{0.20, 0.4}, 41, packed(0.94)},
	MixedFibre:    {curve{0.15, 0.45}, 49, packed((1.38 + 0.91) / 2)},
}

const (
	gravity = 9.80665 // m/s², standard
	// sampleMM is the diameter that the figures of fabrics hold for. Breaking load
	// and mass go with the square of the diameter.
	sampleMM = 50.
)

// BreakingLoadKN estimates the breaking load of new, dry rope of a diameter. It
// is good to 35 % either way, between makes, constructions and grades: enough
// to catch a wrong unit, a wrong material or a slip of the pen, never to rate a
// line by.
func (m Material) BreakingLoadKN(diameterMM float64) float64 {
	d := diameterMM / sampleMM
	return fabrics[m].breakT * gravity * d * d
}

// MassKGPerM is the mass of a metre of dry rope of a diameter, to 10 %.
func (m Material) MassKGPerM(diameterMM float64) float64 {
	d := diameterMM / sampleMM
	return fabrics[m].kgPerM * d * d
}

// WetStrength is the share of its dry breaking load that new rope keeps when
// wet, the state in which polyamide's MBL is tested: polyamide loses 15 %, UFC
// 4-159-03 Table 3-7; the others nothing that counts, common practice, no source.
func (m Material) WetStrength() float64 {
	if m == Polyamide {
		return 0.85
	}
	return 1
}

// rope is a length of one material with its strength.
type rope struct {
	curve
	mblKN  float64
	kgPerM float64
}

// newRope is a rope of a material; a strain at break of its own stretches the
// material's curve, 0 leaves it.
func newRope(m Material, mblKN, diameterMM, breakStrain float64) rope {
	r := rope{fabrics[m].curve, mblKN, m.MassKGPerM(diameterMM)}
	if breakStrain > 0 {
		r.breakStrain = breakStrain
	}
	return r
}

// strain at a tension, and its slope per kN. Tension is not negative.
func (r *rope) strain(tensionKN float64) (strain, perKN float64) {
	share := tensionKN / r.mblKN
	root := math.Sqrt(r.soft*r.soft + 4*(1-r.soft)*share)
	return r.breakStrain * 2 * share / (r.soft + root), r.breakStrain / (r.mblKN * root)
}

// tension at a strain, which is not negative.
func (r *rope) tension(strain float64) float64 {
	s := strain / r.breakStrain
	return r.mblKN * s * (r.soft + (1-r.soft)*s)
}

// energy stored in a metre of unstretched rope at a tension, kJ: the area under
// tension over strain.
func (r *rope) energy(tensionKN float64) float64 {
	strain, _ := r.strain(tensionKN)
	s := strain / r.breakStrain
	return r.mblKN * r.breakStrain * s * s * (r.soft/2 + (1-r.soft)/3*s)
}
