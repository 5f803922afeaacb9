package planfile_test

import (
	"os"
	"reflect"
	"strings"
	"testing"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// TestShipsOwn holds a ship's windage and coefficients and a rope's elongation
// against the text as a
// person reads it.
func TestShipsOwn(t *testing.T) {
	plain, err := os.ReadFile("testdata/plain.yaml")
	must(t, err)
	text := strings.Replace(string(plain), "diameter_mm: 44, mbl_kN: 440}", "diameter_mm: 44, mbl_kN: 440, elongation_at_break: 0.14}", 1)
	text = strings.Replace(text, "end_windage_m2: 190}", `end_windage_m2: 190,
  windage: {hull_m2: 450, hull_top_m: 7, house_m2: 250, house_top_m: 19.5},
  wind_coefficients: {rows: [
    {off_bow_deg: 0, ahead: -0.7, to_port: 0, bow_to_port: 0},
    {off_bow_deg: 90, ahead: 0.05, to_port: 0.95, bow_to_port: 0.02},
    {off_bow_deg: 180, ahead: 0.6, to_port: 0, bow_to_port: 0}]}}`, 1)
	p, m, err := planfile.Parse("plan.yaml", []byte(text))
	must(t, err)
	by, err := mooring.NewCoefficients([]mooring.CoefficientRow{
		{OffBowDeg: 0, Ahead: -0.7}, {OffBowDeg: 90, Ahead: 0.05, ToPort: 0.95, BowToPort: 0.02}, {OffBowDeg: 180, Ahead: 0.6}})
	must(t, err)
	if !reflect.DeepEqual(p.Ship.WindBy, by) {
		t.Errorf("coefficients %+v, want %+v", p.Ship.WindBy, by)
	}
	if want := (mooring.Windage{HullM2: 450, HullTopM: 7, HouseM2: 250, HouseTopM: 19.5}); p.Ship.Windage == nil || *p.Ship.Windage != want {
		t.Errorf("windage %+v, want %+v", p.Ship.Windage, want)
	}
	if p.Ship.CurrentBy != nil {
		t.Errorf("coefficients in current from nowhere: %+v", p.Ship.CurrentBy)
	}
	if l := p.Lines[0]; l.BreakStrain != 0 || l.Tail.BreakStrain != 0.14 {
		t.Errorf("elongation at break of the line %g, of its tail %g", l.BreakStrain, l.Tail.BreakStrain)
	}
	roundTrip(t, m)
}

// TestCoefficientsInMessage: what the schema's rules cannot tell is told of a
// message too.
func TestCoefficientsInMessage(t *testing.T) {
	m := tanker(t)
	m.Ship.CurrentCoefficients = &hawserv1.Coefficients{Rows: []*hawserv1.CoefficientRow{
		{OffBowDeg: 0}, {OffBowDeg: 90, ToPort: 2}, {OffBowDeg: 360, Ahead: 1}}}
	const want = "ship.current_coefficients.rows[2]: must repeat the first, 360 degrees being 0"
	if _, err := planfile.FromProto(m); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("%v, want %s", err, want)
	}
}
