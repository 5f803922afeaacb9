package detect

import "fmt"

// Sentences for the deck: what was seen with number and unit, and what to
// check. Never that a place is safe.

// id is line i's name.
func (b *Berth) id(i int) string { return b.plan.Lines[i].ID }

// percent is a load as a percentage of line i's MBL: "33 %".
func (b *Berth) percent(i int, load float64) string {
	return fmt.Sprintf("%.0f %%", 100*load/b.plan.Lines[i].MBLkN)
}
