package mooring

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// CoefficientRow is a ship's coefficients in a flow of wind or water that comes
// from one angle off her bow, clockwise seen from above: 0 from ahead, 90 from
// starboard, 180 from astern. A force is its coefficient times the flow's
// pressure ½ρV² times an area; for the moment, amidships, times the length over
// all as well. Areas: for wind, her end and side above water; for current, beam
// and length over all times draft.
type CoefficientRow struct {
	OffBowDeg float64
	Ahead     float64 // on the end area, positive pushing her ahead
	ToPort    float64 // on the side area, positive pushing her to port
	BowToPort float64 // on the side area, positive turning her bow to port
}

// Coefficients are a ship's own, from a wind tunnel, a towing tank or a table,
// straight between rows. They are read-only and safe for concurrent use.
type Coefficients struct {
	rows []CoefficientRow
	half bool // starboard only; port is its mirror
}

// mostCoefficient is above any ship's, and below a table in percent.
const mostCoefficient = 10

// NewCoefficients checks a table: rows by rising angle, from 0 to 180 degrees
// for a ship alike on both sides or from 0 to 360 for one that is not, where the
// last row repeats the first. The error names the row, counted from 1.
func NewCoefficients(rows []CoefficientRow) (*Coefficients, error) {
	if len(rows) < 3 {
		return nil, errors.New("coefficients: fewer than three rows")
	}
	c := &Coefficients{rows: slices.Clone(rows)}
	for i, r := range rows {
		for _, v := range []float64{r.Ahead, r.ToPort, r.BowToPort} {
			if !(math.Abs(v) <= mostCoefficient) {
				return nil, fmt.Errorf("coefficients: row %d: %g is no coefficient, want -%d to %d", i+1, v, mostCoefficient, mostCoefficient)
			}
		}
		if i > 0 && !(r.OffBowDeg > rows[i-1].OffBowDeg) {
			return nil, fmt.Errorf("coefficients: row %d: %g degrees after %g, want rising angles", i+1, r.OffBowDeg, rows[i-1].OffBowDeg)
		}
	}
	first, last := rows[0], rows[len(rows)-1]
	if first.OffBowDeg != 0 {
		return nil, fmt.Errorf("coefficients: row 1: %g degrees, want 0", first.OffBowDeg)
	}
	switch last.OffBowDeg {
	case 180:
		c.half = true
		for i, r := range []CoefficientRow{first, last} {
			if r.ToPort != 0 || r.BowToPort != 0 {
				return nil, fmt.Errorf("coefficients: row %d: a push to one side at %g degrees, on a ship alike on both", 1+i*(len(rows)-1), r.OffBowDeg)
			}
		}
	case 360:
		last.OffBowDeg = 0
		if last != first {
			return nil, fmt.Errorf("coefficients: row %d: 360 degrees differ from 0", len(rows))
		}
	default:
		return nil, fmt.Errorf("coefficients: row %d: %g degrees, want the last at 180 or 360", len(rows), last.OffBowDeg)
	}
	return c, nil
}

// At is the coefficients in a flow from this angle off the bow, radians,
// positive from starboard.
func (c *Coefficients) At(offBowRad float64) (ahead, toPort, bowToPort float64) {
	deg := math.Mod(offBowRad*180/math.Pi, 360)
	if deg < 0 {
		deg += 360
	}
	mirror := 1.0
	if c.half && deg > 180 {
		deg, mirror = 360-deg, -1
	}
	i, _ := slices.BinarySearchFunc(c.rows, deg, func(r CoefficientRow, deg float64) int {
		if r.OffBowDeg < deg {
			return -1
		}
		return 1
	})
	i = min(max(i, 1), len(c.rows)-1)
	a, b := c.rows[i-1], c.rows[i]
	share := (deg - a.OffBowDeg) / (b.OffBowDeg - a.OffBowDeg)
	mix := func(a, b float64) float64 { return a + share*(b-a) }
	return mix(a.Ahead, b.Ahead), mirror * mix(a.ToPort, b.ToPort), mirror * mix(a.BowToPort, b.BowToPort)
}
