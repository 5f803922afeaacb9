package roll

import (
	"fmt"
	"time"
)

// Retention is how far behind the newest reading rolls are kept, by resolution. A
// coarser resolution is kept at least as long as a finer one.
type Retention [resolutions]time.Duration

const (
	day  = 24 * time.Hour
	year = 365 * day
)

// DefaultRetention keeps seconds for 90 days, ten seconds for a year, minutes for
// five years and ten minutes for twenty.
func DefaultRetention() Retention { return Retention{90 * day, year, 5 * year, 20 * year} }

// Validate tells what is wrong with a retention, naming the resolution.
func (r Retention) Validate() error {
	for i, keep := range r {
		name := Resolution(i)
		switch {
		case keep < Span:
			return fmt.Errorf("%s: %s is under %s", name, keep, Span)
		case i > 0 && keep < r[i-1]:
			return fmt.Errorf("%s: %s is shorter than the %s of %s", name, keep, r[i-1], Resolution(i-1))
		}
	}
	return nil
}

// Kept is the finest resolution that is kept of a time so long ago, and whether any
// is.
func (r Retention) Kept(ago time.Duration) (Resolution, bool) {
	for i, keep := range r {
		if ago <= keep {
			return Resolution(i), true
		}
	}
	return 0, false
}
