package planfile

import (
	"fmt"
	"time"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// risingTimes finds what the schema's rules cannot say of a tide table: a day
// that no calendar has, and times that do not rise. Times that broke the
// schema's own rule are told already.
func risingTimes(m *hawserv1.TideTable, f *faults, at func(path string) place) {
	var before time.Time
	for i, l := range m.GetLevels() {
		t, err := time.Parse(time.RFC3339, l.GetTime())
		path := fmt.Sprintf("tide.table.levels[%d].time", i)
		switch {
		case err != nil:
			f.add(fault{at(path), path, fmt.Sprintf("must be a time that there is, not %q", clip(l.GetTime()))})
			return
		case i > 0 && !t.After(before):
			f.add(fault{at(path), path, fmt.Sprintf("must be after the level before it, and %s is not", clip(l.GetTime()))})
			return
		}
		before = t
	}
}

func tide(m *hawserv1.Tide) *mooring.Tide {
	if m == nil {
		return nil
	}
	t := &mooring.Tide{MeanLevelM: m.GetHarmonics().GetMeanLevelM()}
	for _, c := range m.GetHarmonics().GetConstituents() {
		t.Constituents = append(t.Constituents,
			mooring.TidalConstituent{Name: c.GetName(), AmplitudeM: c.GetAmplitudeM(), LagDeg: c.GetLagDeg()})
	}
	for _, l := range m.GetTable().GetLevels() {
		at, _ := time.Parse(time.RFC3339, l.GetTime()) // risingTimes saw to it
		t.Table = append(t.Table, mooring.TideLevel{At: at, LevelM: l.GetLevelM()})
	}
	return t
}
