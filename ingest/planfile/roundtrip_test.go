package planfile_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// roundTrip holds that a message written as YAML reads back the same.
func roundTrip(t interface {
	Helper()
	Fatalf(string, ...any)
}, m *hawserv1.MooringPlan) {
	t.Helper()
	text, err := planfile.Marshal(m)
	if err != nil {
		t.Fatalf("write: %v", err)
	}
	again, m2, err := planfile.Parse("again.yaml", text)
	if err != nil {
		t.Fatalf("read back: %v\n%s", err, text)
	}
	if !proto.Equal(m, m2) || planfile.Fingerprint(m) != planfile.Fingerprint(m2) {
		t.Fatalf("another message came back from\n%s", text)
	}
	p, err := planfile.FromProto(m)
	if err != nil || !reflect.DeepEqual(p, again) {
		t.Fatalf("message and file give different plans: %v\n%+v\n%+v", err, p, again)
	}
}

func TestAnyPlanRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { roundTrip(t, anyPlan(t)) })
}

// anyPlan draws from all that the schema's constraints allow, ends included.
func anyPlan(t *rapid.T) *hawserv1.MooringPlan {
	number := func(name string, low, high float64) float64 {
		f := rapid.OneOf(rapid.Float64Range(low, high), rapid.Just(high),
			rapid.Map(rapid.Float64Range(low, high), func(f float64) float64 { return math.Max(low, math.Floor(f)) })).Draw(t, name)
		return f + 0 // no minus zero
	}
	const tiny = 5e-324 // the least number over 0
	maybe := func(name string, low, high float64) *float64 {
		if rapid.Bool().Draw(t, "has "+name) {
			return proto.Float64(number(name, low, high))
		}
		return nil
	}
	material := func() hawserv1.Material { return hawserv1.Material(rapid.IntRange(1, 8).Draw(t, "material")) }
	m := &hawserv1.MooringPlan{
		Berth: rapid.StringMatching(`[a-z0-9-]{1,40}`).Draw(t, "berth"),
		Ship: &hawserv1.Ship{
			Name: rapid.StringN(1, 80, -1).Draw(t, "name"),
			LoaM: number("loa", tiny, 600), BeamM: number("beam", tiny, 120),
			DisplacementT: number("displacement", tiny, 1e6),
			SideWindageM2: number("side", tiny, 50000), EndWindageM2: number("end", tiny, 10000),
		},
		Reference: &hawserv1.Reference{DraftFwdM: number("fwd", tiny, 40), DraftAftM: number("aft", tiny, 40),
			WaterLevelM: number("level", -30, 30)},
		BerthHeadingDeg: number("heading", 0, 360),
		Side:            hawserv1.Side(rapid.IntRange(0, 2).Draw(t, "side")),
	}
	if rapid.Bool().Draw(t, "has limits") {
		m.Limits = &hawserv1.Limits{
			WorkingLoadFraction: maybe("working load", tiny, 1), ApproachFraction: maybe("approach", tiny, 1),
			ApproachMinutes: maybe("minutes", tiny, 1440), ImbalanceRatio: maybe("ratio", 1.001, 100),
			ImbalanceFloor: maybe("floor", 0, 1), SlackFraction: maybe("slack", tiny, 0.999),
			SnapFraction: maybe("snap", tiny, 1), SlipM: maybe("slip", tiny, 10),
		}
	}
	switch rapid.IntRange(0, 2).Draw(t, "tide") {
	case 1:
		h := &hawserv1.TideHarmonics{MeanLevelM: number("mean", -30, 30)}
		for _, name := range rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"M2", "S2", "2N2", "K1", "SSA"}), 1, 5, rapid.ID).Draw(t, "names") {
			h.Constituents = append(h.Constituents, &hawserv1.TidalConstituent{Name: name,
				AmplitudeM: number("amplitude", 0, 20), LagDeg: number("lag", -360, 360)})
		}
		m.Tide = &hawserv1.Tide{Harmonics: h}
	case 2:
		table, at := &hawserv1.TideTable{}, time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "from"), 0)
		for range rapid.IntRange(2, 5).Draw(t, "levels") {
			table.Levels = append(table.Levels, &hawserv1.TideLevel{Time: at.UTC().Format(time.RFC3339), LevelM: number("level", -30, 30)})
			at = at.Add(time.Duration(rapid.Int64Range(1, 1e5).Draw(t, "later")) * time.Second)
		}
		m.Tide = &hawserv1.Tide{Table: table}
	}
	if rapid.Bool().Draw(t, "has windage") {
		top := number("hull top", tiny, 100)
		m.Ship.Windage = &hawserv1.Windage{HullM2: number("hull", tiny, 50000), HullTopM: top,
			HouseM2: number("house", 0, 50000), HouseTopM: number("house top", top, 150)}
	}
	if rapid.Bool().Draw(t, "has coefficients") {
		c := &hawserv1.Coefficients{Rows: []*hawserv1.CoefficientRow{{Ahead: number("ahead", -10, 10)}}}
		for _, deg := range []float64{0.1, 90, 179} {
			c.Rows = append(c.Rows, &hawserv1.CoefficientRow{OffBowDeg: deg, Ahead: number("ahead", -10, 10),
				ToPort: number("to port", -10, 10), BowToPort: number("bow to port", -10, 10)})
		}
		c.Rows = append(c.Rows, &hawserv1.CoefficientRow{OffBowDeg: 180, Ahead: number("ahead", -10, 10)})
		m.Ship.CurrentCoefficients = c
	}
	for range rapid.IntRange(0, 4).Draw(t, "fenders") {
		m.Fenders = append(m.Fenders, &hawserv1.Fender{XM: number("x", -1000, 1000), ZM: number("z", -100, 100),
			StiffnessKnPerM: number("stiffness", tiny, 1e6)})
	}
	ids := rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z0-9-]{1,20}`), 1, 5, rapid.ID).Draw(t, "ids")
	for _, id := range ids {
		mbl := number("mbl", 1, 50000)
		l := &hawserv1.Line{
			Id: id, Group: hawserv1.LineGroup(rapid.IntRange(1, 6).Draw(t, "group")),
			Fairlead: []float64{number("x", 1, 1000), number("y", -1000, 1000), number("z", -1000, 1000)},
			Hook:     []float64{number("x", -1000, 0), number("y", -1000, 1000), number("z", -1000, 1000)},
			InboardM: number("inboard", 0, 300), Material: material(), DiameterMm: number("diameter", tiny, 400),
			MblKn: mbl, PretensionKn: number("pretension", 0, mbl/2),
			MadeFast: hawserv1.MadeFast_MADE_FAST_BITTS, BrakeHoldKn: maybe("hold", tiny, 50000),
			FairleadDiameterMm: maybe("fairlead diameter", tiny, 5000),
			ElongationAtBreak:  maybe("elongation", 0.005, 0.8),
		}
		if rapid.Bool().Draw(t, "winch") {
			l.MadeFast, l.BrakeRenderKn = hawserv1.MadeFast_MADE_FAST_WINCH, proto.Float64(number("render", tiny, 50000))
		}
		if rapid.Bool().Draw(t, "has instrumented") {
			l.Instrumented = proto.Bool(rapid.Bool().Draw(t, "instrumented"))
		}
		if rapid.Bool().Draw(t, "has rope") { // the id behind it makes it one of its own
			l.Rope = proto.String(rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9./-]{0,18}`).Draw(t, "rope") + "/" + id)
		}
		if rapid.Bool().Draw(t, "has tail") {
			l.Tail = &hawserv1.Tail{Material: material(), LengthM: number("length", tiny, 100),
				DiameterMm: number("diameter", tiny, 400), MblKn: number("mbl", tiny, 50000)}
		}
		m.Lines = append(m.Lines, l)
	}
	return m
}

func must(t rapid.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
