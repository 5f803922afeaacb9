package planfile_test

import (
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"

	"hawser/detect/mooring"
	"hawser/detect/tide"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// TestTide holds both forms of a plan's tide against the text as a person reads
// it; times that the YAML form takes for its own are read as they are written.
func TestTide(t *testing.T) {
	plain, err := os.ReadFile("testdata/plain.yaml")
	must(t, err)
	for _, c := range []struct {
		name, text string
		want       *mooring.Tide
	}{
		{"harmonics", `
tide:
  harmonics:
    mean_level_m: 2.9
    constituents:
      - {name: M2, amplitude_m: 1.62, lag_deg: 141}
      - {name: 2N2, amplitude_m: 0.03, lag_deg: -12.5}
`, &mooring.Tide{MeanLevelM: 2.9, Constituents: []mooring.TidalConstituent{
			{Name: "M2", AmplitudeM: 1.62, LagDeg: 141}, {Name: "2N2", AmplitudeM: 0.03, LagDeg: -12.5}}}},
		{"table", `
tide:
  table:
    levels:
      - {time: 2028-02-29T23:50:00Z, level_m: -0.2}
      - {time: "2028-03-01T06:02:30Z", level_m: 5.1}
`, &mooring.Tide{Table: []mooring.TideLevel{
			{At: time.Date(2028, time.February, 29, 23, 50, 0, 0, time.UTC), LevelM: -0.2},
			{At: time.Date(2028, time.March, 1, 6, 2, 30, 0, time.UTC), LevelM: 5.1}}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, m, err := planfile.Parse("plan.yaml", append(plain, c.text...))
			must(t, err)
			if !reflect.DeepEqual(p.Tide, c.want) {
				t.Errorf("got %+v, want %+v", p.Tide, c.want)
			}
			roundTrip(t, m)
		})
	}
}

// TestConstituentsAgree: what a plan may name, the tide knows, and the schema
// allows as many as there are.
func TestConstituentsAgree(t *testing.T) {
	rules, err := protovalidate.ResolveFieldRules((&hawserv1.TidalConstituent{}).ProtoReflect().Descriptor().Fields().ByName("name"))
	must(t, err)
	all := &mooring.Tide{}
	for _, name := range rules.GetString().GetIn() {
		all.Constituents = append(all.Constituents, mooring.TidalConstituent{Name: name})
	}
	if _, err := tide.New(all); err != nil || len(all.Constituents) != 37 {
		t.Errorf("%d constituents: %v", len(all.Constituents), err)
	}
}

// TestTideTableInMessage: the two faults that the schema's rules cannot tell are
// told of a message too.
func TestTideTableInMessage(t *testing.T) {
	for _, c := range []struct{ second, want string }{
		{"2026-04-31T00:00:00Z", `tide.table.levels[1].time: must be a time that there is, not "2026-04-31T00:00:00Z"`},
		{"2026-03-01T00:00:00Z", "tide.table.levels[1].time: must be after the level before it"},
		{"1 March", `tide.table.levels[1].time: must be a time in UTC such as`},
	} {
		m := tanker(t)
		m.Tide = &hawserv1.Tide{Table: &hawserv1.TideTable{Levels: []*hawserv1.TideLevel{
			{Time: "2026-03-01T00:00:00Z", LevelM: 1}, {Time: c.second, LevelM: 4}}}}
		if _, err := planfile.FromProto(m); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.second, err, c.want)
		}
	}
}
