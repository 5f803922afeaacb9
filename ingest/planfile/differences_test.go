package planfile_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// Each change made to a plan by hand is told once, at its place, as it is written.
func TestDifferences(t *testing.T) {
	for name, c := range map[string]struct {
		change func(m *hawserv1.MooringPlan)
		want   []planfile.Difference
	}{
		"nothing": {func(*hawserv1.MooringPlan) {}, nil},
		"ship": {func(m *hawserv1.MooringPlan) { m.Ship.LoaM = 190; m.Ship.Name = "Teal" },
			[]planfile.Difference{{Path: "ship.name", Was: "Heron of Aldmouth", Is: "Teal"}, {Path: "ship.loa_m", Was: "183", Is: "190"}}},
		"side": {func(m *hawserv1.MooringPlan) { m.Side = hawserv1.Side_SIDE_PORT },
			[]planfile.Difference{{Path: "side", Is: "port"}}},
		"fender": {func(m *hawserv1.MooringPlan) { m.Fenders[1].StiffnessKnPerM = 4000; m.Fenders = m.Fenders[:3] },
			[]planfile.Difference{{Path: "fenders[1].stiffness_kN_per_m", Was: "3800", Is: "4000"}, {Path: "fenders[3]", Was: "x_m: 42, z_m: 4.2, stiffness_kN_per_m: 3800"}}},
		"hook": {func(m *hawserv1.MooringPlan) { m.Lines[2].Hook[0] = 76 },
			[]planfile.Difference{{Line: "3", Path: "hook", Was: "[74, -32, 6]", Is: "[76, -32, 6]"}}},
		"tail": {func(m *hawserv1.MooringPlan) { m.Lines[0].Tail = nil; m.Lines[1].Tail.MblKn = 900 },
			[]planfile.Difference{{Line: "1", Path: "tail", Was: "material: polyester, length_m: 11, diameter_mm: 64, mbl_kN: 860"}, {Line: "2", Path: "tail.mbl_kN", Was: "860", Is: "900"}}},
		"limits": {func(m *hawserv1.MooringPlan) { m.Limits = &hawserv1.Limits{SlipM: proto.Float64(0.1)} },
			[]planfile.Difference{{Path: "limits", Is: "slip_m: 0.1"}}},
	} {
		was := tanker(t)
		is := proto.CloneOf(was)
		c.change(is)
		if got := planfile.Differences(was, is); !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
	// A line put in at the top moves no other.
	was := tanker(t)
	is := proto.CloneOf(was)
	more := proto.CloneOf(is.Lines[0])
	more.Id = "1A"
	is.Lines = slices.Insert(is.Lines, 0, more)
	got := planfile.Differences(was, is)
	if len(got) != 1 || got[0].Line != "1A" || got[0].Was != "" || got[0].Is == "" || got[0].Path != "" {
		t.Errorf("a line more: %+v", got)
	}
	back := planfile.Differences(is, was)
	if len(back) != 1 || back[0].Line != "1A" || back[0].Was != got[0].Is || back[0].Is != "" {
		t.Errorf("a line less: %+v", back)
	}
}
