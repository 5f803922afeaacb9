package planfile

import (
	"errors"
	"fmt"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// knownShip finds what the schema's rules cannot say of a ship's coefficients:
// angles that do not rise or do not go all round.
func knownShip(m *hawserv1.Ship, f *faults, at func(path string) place) {
	for _, c := range []struct {
		key   string
		table *hawserv1.Coefficients
	}{
		{"wind_coefficients", m.GetWindCoefficients()},
		{"current_coefficients", m.GetCurrentCoefficients()},
	} {
		var row *mooring.RowError
		if _, err := coefficients(c.table); errors.As(err, &row) {
			path := fmt.Sprintf("ship.%s.rows[%d]", c.key, row.Row)
			f.add(fault{at(path), path, row.Want})
		}
	}
}

func coefficients(m *hawserv1.Coefficients) (*mooring.Coefficients, error) {
	if m == nil {
		return nil, nil
	}
	var rows []mooring.CoefficientRow
	for _, r := range m.GetRows() {
		rows = append(rows, mooring.CoefficientRow{OffBowDeg: r.GetOffBowDeg(),
			Ahead: r.GetAhead(), ToPort: r.GetToPort(), BowToPort: r.GetBowToPort()})
	}
	return mooring.NewCoefficients(rows)
}

func windage(m *hawserv1.Windage) *mooring.Windage {
	if m == nil {
		return nil
	}
	return &mooring.Windage{HullM2: m.GetHullM2(), HullTopM: m.GetHullTopM(),
		HouseM2: m.GetHouseM2(), HouseTopM: m.GetHouseTopM()}
}
