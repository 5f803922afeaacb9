package planfile

import (
	"crypto/sha256"
	"encoding/hex"

	"google.golang.org/protobuf/proto"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// convert wants a message that met its constraints. The enums of the schema and
// of mooring count alike from 1; a test holds them together.
func convert(m *hawserv1.MooringPlan) *mooring.Plan {
	s, r := m.GetShip(), m.GetReference()
	p := &mooring.Plan{
		Berth: m.GetBerth(),
		Ship: mooring.Ship{
			Name: s.GetName(), LoaM: s.GetLoaM(), BeamM: s.GetBeamM(),
			DisplacementT: s.GetDisplacementT(),
			SideWindageM2: s.GetSideWindageM2(), EndWindageM2: s.GetEndWindageM2(),
			Windage: windage(s.GetWindage()),
		},
		Reference: mooring.Reference{
			DraftFwdM: r.GetDraftFwdM(), DraftAftM: r.GetDraftAftM(), WaterLevelM: r.GetWaterLevelM(),
		},
		HeadingDeg: m.GetBerthHeadingDeg(),
		Limits:     limits(m.GetLimits()),
		Tide:       tide(m.GetTide()),
	}
	p.Ship.WindBy, _ = coefficients(s.GetWindCoefficients()) // knownShip saw to them
	p.Ship.CurrentBy, _ = coefficients(s.GetCurrentCoefficients())
	if m.GetSide() == hawserv1.Side_SIDE_PORT {
		p.Side = mooring.Port
	}
	for _, f := range m.GetFenders() {
		p.Fenders = append(p.Fenders, mooring.Fender{XM: f.GetXM(), ZM: f.GetZM(), StiffnessKNPerM: f.GetStiffnessKnPerM()})
	}
	for _, l := range m.GetLines() {
		p.Lines = append(p.Lines, line(l))
	}
	return p
}

func limits(m *hawserv1.Limits) mooring.Limits {
	l := mooring.DefaultLimits()
	if m == nil {
		return l
	}
	override(&l.WorkingLoadFraction, m.WorkingLoadFraction)
	override(&l.ApproachFraction, m.ApproachFraction)
	override(&l.ApproachMinutes, m.ApproachMinutes)
	override(&l.ImbalanceRatio, m.ImbalanceRatio)
	override(&l.ImbalanceFloor, m.ImbalanceFloor)
	override(&l.SlackFraction, m.SlackFraction)
	override(&l.SnapFraction, m.SnapFraction)
	override(&l.SlipM, m.SlipM)
	return l
}

func override[T ~float64](limit *T, given *float64) {
	if given != nil {
		*limit = T(*given)
	}
}

func line(m *hawserv1.Line) mooring.Line {
	l := mooring.Line{
		ID:       m.GetId(),
		Group:    mooring.Group(m.GetGroup()),
		Fairlead: point(m.GetFairlead()), Hook: point(m.GetHook()),
		InboardM: m.GetInboardM(),
		Material: mooring.Material(m.GetMaterial()), DiameterMM: m.GetDiameterMm(),
		MBLkN:         m.GetMblKn(),
		PretensionKN:  m.GetPretensionKn(),
		MadeFast:      mooring.MadeFast(m.GetMadeFast()),
		BrakeRenderKN: m.GetBrakeRenderKn(), BrakeHoldKN: m.GetBrakeHoldKn(),
		Instrumented:       m.Instrumented == nil || *m.Instrumented,
		FairleadDiameterMM: m.GetFairleadDiameterMm(),
		BreakStrain:        m.GetElongationAtBreak(),
		Rope:               m.GetRope(),
	}
	if t := m.GetTail(); t != nil {
		l.Tail = &mooring.Tail{
			Material: mooring.Material(t.GetMaterial()), LengthM: t.GetLengthM(),
			DiameterMM: t.GetDiameterMm(), MBLkN: t.GetMblKn(), BreakStrain: t.GetElongationAtBreak(),
		}
	}
	return l
}

// point wants three coordinates, which the constraints saw to.
func point(c []float64) mooring.Point { return mooring.Point{X: c[0], Y: c[1], Z: c[2]} }

// Fingerprint names exactly this message: the first 16 hex digits of SHA-256
// over its bytes, fields in order of number. A plan that spells out a default
// means the same and has another fingerprint.
func Fingerprint(m *hawserv1.MooringPlan) string {
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		// Only text that is not UTF-8 does this, and neither a file nor the
		// wire lets that in.
		panic("planfile: fingerprint of a broken message: " + err.Error())
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:8])
}
