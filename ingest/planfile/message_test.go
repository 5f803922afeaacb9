package planfile_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

func TestFromProtoNamesThePath(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(m *hawserv1.MooringPlan)
		want  string
	}{
		{"range", func(m *hawserv1.MooringPlan) { m.Lines[3].MblKn = -5 },
			"lines[3].mbl_kN: must be over 0 and at most 50000, not -5"},
		{"no ship", func(m *hawserv1.MooringPlan) { m.Ship = nil }, "ship: is required"},
		{"no group", func(m *hawserv1.MooringPlan) { m.Lines[0].Group = 0 }, "lines[0].group: is required"},
		{"unknown material", func(m *hawserv1.MooringPlan) { m.Lines[0].Tail.Material = 99 },
			"lines[0].tail.material: must be one of the defined enum values, not 99"},
		{"no lines", func(m *hawserv1.MooringPlan) { m.Lines = nil }, "lines: must contain at least 1 items, not 0"},
		{"far hook", func(m *hawserv1.MooringPlan) { m.Lines[1].Hook[2] = 5000 },
			"lines[1].hook[2]: must be at least -1000 and at most 1000, not 5000"},
		{"no brake", func(m *hawserv1.MooringPlan) { m.Lines[2].BrakeRenderKn = nil },
			"lines[2].brake_render_kN: is required for a line made fast on a winch"},
		{"same id", func(m *hawserv1.MooringPlan) { m.Lines[2].Id = m.Lines[1].Id },
			`lines[2].id: must be unique, and "2" is the id of lines[1]`},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := tanker(t)
			c.spoil(m)
			p, err := planfile.FromProto(m)
			if err == nil || err.Error() != c.want || p != nil {
				t.Errorf("plan %v, error %v, want %s", p, err, c.want)
			}
			if _, err := planfile.Marshal(m); err == nil || err.Error() != c.want {
				t.Errorf("written with error %v", err)
			}
		})
	}
	if _, err := planfile.FromProto(nil); err == nil || !strings.Contains(err.Error(), "ship: is required") {
		t.Errorf("no message at all: %v", err)
	}
}

// TestNoNumberMayBeOther puts NaN and the infinities in every number of a plan.
func TestNoNumberMayBeOther(t *testing.T) {
	seen := 0
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for i := 0; ; i++ {
			m := tanker(t)
			m.Limits = &hawserv1.Limits{WorkingLoadFraction: proto.Float64(0.5), ApproachFraction: proto.Float64(0.8),
				ApproachMinutes: proto.Float64(20), ImbalanceRatio: proto.Float64(2), ImbalanceFloor: proto.Float64(0.1),
				SlackFraction: proto.Float64(0.01), SnapFraction: proto.Float64(0.4), SlipM: proto.Float64(0.1)}
			m.Lines, m.Fenders = m.Lines[:1], m.Fenders[:1]
			m.Tide = &hawserv1.Tide{
				Harmonics: &hawserv1.TideHarmonics{MeanLevelM: 2, Constituents: []*hawserv1.TidalConstituent{{Name: "M2", AmplitudeM: 1, LagDeg: 90}}},
				Table:     &hawserv1.TideTable{Levels: []*hawserv1.TideLevel{{Time: "2026-03-01T00:00:00Z"}, {Time: "2026-03-01T06:00:00Z"}}}}
			m.Ship.Windage = &hawserv1.Windage{HullM2: 2000, HullTopM: 11, HouseM2: 1150, HouseTopM: 38}
			m.Ship.WindCoefficients = &hawserv1.Coefficients{Rows: []*hawserv1.CoefficientRow{
				{OffBowDeg: 0}, {OffBowDeg: 90, ToPort: 0.9}, {OffBowDeg: 180}}}
			left := i
			path := setNumber(m.ProtoReflect(), "", &left, bad)
			if path == "" {
				break
			}
			seen++
			_, err := planfile.FromProto(m)
			var e *planfile.Error
			if !errors.As(err, &e) || e.Path != path {
				t.Errorf("%s of %g: %v", path, bad, err)
			}
		}
	}
	// 5 of the ship, 4 of her windage and 4 of a row of coefficients, 3 of the
	// reference, the heading, 3 of a fender, 8 limits, 6 coordinates,
	// 8 of the line and 4 of its tail, 3 of harmonics, 1 of a table.
	if want := 3 * (5 + 4 + 4 + 3 + 1 + 3 + 8 + 6 + 8 + 4 + 3 + 1); seen != want {
		t.Errorf("%d numbers tried, want %d", seen, want)
	}
}

// setNumber sets the number that comes after *left others and tells its path.
func setNumber(m protoreflect.Message, at string, left *int, to float64) (path string) {
	fields := m.Descriptor().Fields()
	for i := 0; i < fields.Len() && path == ""; i++ {
		fd := fields.Get(i)
		name := at + fd.JSONName()
		switch {
		case !m.Has(fd) && fd.Kind() != protoreflect.DoubleKind:
		case fd.IsList() && fd.Message() != nil:
			path = setNumber(m.Get(fd).List().Get(0).Message(), name+"[0].", left, to)
		case fd.Message() != nil:
			path = setNumber(m.Get(fd).Message(), name+".", left, to)
		case fd.Kind() != protoreflect.DoubleKind:
		case fd.IsList():
			for j := range 3 {
				if *left == 0 {
					m.Mutable(fd).List().Set(j, protoreflect.ValueOfFloat64(to))
					path = name + "[" + string(rune('0'+j)) + "]"
				}
				*left--
			}
		default:
			if *left == 0 {
				m.Set(fd, protoreflect.ValueOfFloat64(to))
				path = name
			}
			*left--
		}
	}
	return path
}

func tanker(t testing.TB) *hawserv1.MooringPlan {
	t.Helper()
	_, m, err := planfile.Load(filepath.Join(sharedPlans, "tanker-12.yaml"))
	must(t, err)
	return m
}

// TestWordsAgree holds the schema's enums and the mechanics' to one count and
// one spelling, the unspecified value apart.
func TestWordsAgree(t *testing.T) {
	for _, c := range []struct {
		enum   protoreflect.EnumDescriptor
		prefix string
		word   func(n protoreflect.EnumNumber) string
	}{
		{hawserv1.LineGroup(0).Descriptor(), "LINE_GROUP_", func(n protoreflect.EnumNumber) string { return mooring.Group(n).String() }},
		{hawserv1.Material(0).Descriptor(), "MATERIAL_", func(n protoreflect.EnumNumber) string { return mooring.Material(n).String() }},
		{hawserv1.MadeFast(0).Descriptor(), "MADE_FAST_", func(n protoreflect.EnumNumber) string { return mooring.MadeFast(n).String() }},
	} {
		values := c.enum.Values()
		for i := range values.Len() {
			v := values.Get(i)
			if v.Number() == 0 {
				continue
			}
			upper := strings.ToUpper(strings.ReplaceAll(c.word(v.Number()), "-", "_"))
			if c.prefix+upper != string(v.Name()) {
				t.Errorf("%s is %s to the mechanics", v.Name(), c.word(v.Number()))
			}
		}
		if beyond := c.word(protoreflect.EnumNumber(values.Len())); beyond != "unknown" {
			t.Errorf("%s has no %s", c.enum.Name(), beyond)
		}
	}
}

// TestFingerprint: the message's bytes were laid out by hand after the protocol
// buffers encoding,
//
//	0a02 6231                      berth "b1"
//	21 0000000000805640            berth_heading_deg 90
//	42 1f                          lines[0]:
//	   0a01 31  1001               id "1", group head
//	   1a18 000000000000f03f       fairlead [1, 2, 3]
//	        0000000000000040
//	        0000000000000840
//
// and hashed with sha256sum.
func TestFingerprint(t *testing.T) {
	m := &hawserv1.MooringPlan{Berth: "b1", BerthHeadingDeg: 90, Lines: []*hawserv1.Line{
		{Id: "1", Group: hawserv1.LineGroup_LINE_GROUP_HEAD, Fairlead: []float64{1, 2, 3}}}}
	if got, want := planfile.Fingerprint(m), "a5d9e773d380a420"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	m.Lines[0].Instrumented = proto.Bool(true)
	if planfile.Fingerprint(m) == "a5d9e773d380a420" {
		t.Error("another message has the same fingerprint")
	}
}

func TestLoadErrors(t *testing.T) {
	if _, _, err := planfile.Load("testdata/not-there.yaml"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
	if _, _, err := planfile.Load("testdata"); err == nil || !strings.Contains(err.Error(), "testdata") {
		t.Errorf("a folder: %v", err)
	}
	plain, err := os.ReadFile("testdata/plain.yaml")
	must(t, err)
	name := filepath.Join(t.TempDir(), "plan.yaml")
	for _, c := range []struct {
		size int
		want string
	}{
		{planfile.MaxBytes, ""},
		{planfile.MaxBytes + 1, name + ":1: must be at most 262144 bytes"},
	} {
		padded := string(plain) + "#" + strings.Repeat("x", c.size-len(plain)-1)
		must(t, os.WriteFile(name, []byte(padded), 0o600))
		got := ""
		if _, _, err := planfile.Load(name); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%d bytes: %q, want %q", c.size, got, c.want)
		}
	}
}
