package mooring

import (
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

// RowError is a table of coefficients that cannot be, and the row that says so.
type RowError struct {
	Row  int // from 0
	Want string
}

func (e *RowError) Error() string { return fmt.Sprintf("row %d: %s", e.Row+1, e.Want) }

// NewCoefficients checks a table: rows by rising angle, from 0 to 180 degrees
// for a ship alike on both sides or from 0 to 360 for one that is not, where the
// last row repeats the first. The error is a *RowError.
func NewCoefficients(rows []CoefficientRow) (*Coefficients, error) {
	wrong := func(row int, format string, a ...any) (*Coefficients, error) {
		return nil, &RowError{row, fmt.Sprintf(format, a...)}
	}
	if len(rows) < 3 {
		return wrong(max(len(rows)-1, 0), "must not be the last of fewer than three")
	}
	for i, r := range rows {
		for _, v := range []float64{r.Ahead, r.ToPort, r.BowToPort} {
			if !(math.Abs(v) <= mostCoefficient) {
				return wrong(i, "must be a coefficient, from -%d to %[1]d, not %g", mostCoefficient, v)
			}
		}
		if i > 0 && !(r.OffBowDeg > rows[i-1].OffBowDeg) {
			return wrong(i, "must be at a greater angle than the row before it, at %g degrees, not %g", rows[i-1].OffBowDeg, r.OffBowDeg)
		}
	}
	n := len(rows) - 1
	first, last := rows[0], rows[n]
	if first.OffBowDeg != 0 {
		return wrong(0, "must be at 0 degrees, not %g", first.OffBowDeg)
	}
	switch last.OffBowDeg {
	case 180:
		for _, i := range []int{0, n} {
			if rows[i].ToPort != 0 || rows[i].BowToPort != 0 {
				return wrong(i, "must push her to neither side, as she is alike on both: to_port and bow_to_port 0")
			}
		}
	case 360:
		last.OffBowDeg = 0
		if last != first {
			return wrong(n, "must repeat the first, 360 degrees being 0")
		}
	default:
		return wrong(n, "must be at 180 or 360 degrees as the last, not %g", last.OffBowDeg)
	}
	return &Coefficients{rows: slices.Clone(rows), half: last.OffBowDeg == 180}, nil
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
