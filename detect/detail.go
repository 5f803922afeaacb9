package detect

import (
	"fmt"
	"math"
)

// Sentences for the deck: what was seen with number and unit, and what to
// check. Never that a place is safe.

// id is line i's name.
func (b *Berth) id(i int) string { return b.plan.Lines[i].ID }

// percent is a load as a percentage of line i's MBL: "33 %".
func (b *Berth) percent(i int, load float64) string {
	return fmt.Sprintf("%.0f %%", whole(100*load/b.plan.Lines[i].MBLkN))
}

// whole is a number as a sentence gives it, without the sign of a zero: a pin under no
// load reads a little more or less.
func whole(v float64) float64 { return math.RoundToEven(v) + 0 }
