// Package archive makes weeks of readings of a whole port: four berths of our own
// invention, ships that come and go, a tide with its springs and neaps, weather
// that passes, cargo, passing ships, crews who tend their lines, brakes that slip,
// a gale, a parting, load pins that die and hours without data. It is for pages,
// reports and exports to be run on. It knows no detector, and no expected value may
// come from it, since it shares our mechanics. Its invariant: the same options give
// the same blocks, bit for bit.
//
// The ship lies still at every look, every ten seconds, under the wind of that
// moment, and readings between are straight: a month of four berths takes minutes
// where package simulate, which moves the ship, would take days. What happens within
// seconds is not in it.
//
//	seed ─► weather of the port ─┐
//	     └► stays of each berth ─┴► ship at rest ◄─► brakes, crew ─► pins ─► blocks
package archive

import (
	"cmp"
	"embed"
	"fmt"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

//go:embed plans/*.yaml
var plans embed.FS

// Options say which archive. The zero value is 30 days from 1 February 2024, a leap
// year, at 0.2 Hz.
type Options struct {
	Seed  uint64
	Start time.Time // of the first day; zero is 1 February 2024
	Days  int       // 1 to 366; 0 is 30
	// Interval is the time between readings of a channel, which divides the ten
	// seconds of a look: 1, 2 or 5 s. 0 is 5 s.
	Interval time.Duration
}

func (o *Options) settle() error {
	if o.Start.IsZero() {
		o.Start = time.Date(2024, time.February, 1, 0, 0, 0, 0, time.UTC)
	}
	o.Days = cmp.Or(o.Days, 30)
	o.Interval = cmp.Or(o.Interval, 5*time.Second)
	switch {
	case o.Days < 1 || o.Days > 366:
		return fmt.Errorf("%d days: 1 to 366 are needed", o.Days)
	case o.Interval != time.Second && o.Interval != 2*time.Second && o.Interval != 5*time.Second:
		return fmt.Errorf("a reading every %v: 1, 2 or 5 s are needed", o.Interval)
	}
	return nil
}

func (o *Options) end() time.Time { return o.Start.AddDate(0, 0, o.Days) }

// berth is one berth with the ships that come to it.
type berth struct {
	name  string
	ships []string
	// hours alongside and between ships, on average.
	alongside, between float64
	// cargo is what a stay does to her drafts, m.
	cargo float64
	// exposed is the wind at the berth by the wind of the port.
	exposed float64
	passed  bool // ships pass close by
}

// berths are the four; all names are invented.
func berths() []berth {
	return []berth{
		{name: "oil-jetty-2", ships: []string{"Northern Plover", "Meridian Shearwater", "Isle of Fulmar"},
			alongside: 38, between: 11, cargo: -5.5, exposed: 1.12, passed: true},
		{name: "box-quay-4", ships: []string{"Amber Sanderling", "Cobalt Godwit", "Umber Dunlin", "Ochre Whimbrel"},
			alongside: 22, between: 5, cargo: -0.8, exposed: 0.95},
		{name: "ore-jetty-1", ships: []string{"Granite Turnstone", "Basalt Redshank"},
			alongside: 62, between: 16, cargo: 4.4, exposed: 1, passed: true},
		{name: "inner-quay-5", ships: []string{"Reedmarsh Wren", "Saltings Pipit", "Foreshore Linnet"},
			alongside: 19, between: 15, cargo: 1.1, exposed: 0.8},
	}
}

// shipped is the plan of one of a berth's ships: the berth's own with her name, and
// a displacement and windage that differ a little from her sisters'.
func (b *berth) shipped(k int) (*mooring.Plan, *hawserv1.MooringPlan, error) {
	name := "plans/" + b.name + ".yaml"
	text, err := plans.ReadFile(name)
	if err != nil {
		return nil, nil, err
	}
	_, message, err := planfile.Parse(name, text)
	if err != nil {
		return nil, nil, err
	}
	other := 1 + 0.03*float64(k%3)
	message.Ship.Name = b.ships[k]
	message.Ship.DisplacementT *= other
	message.Ship.SideWindageM2 *= other
	plan, err := planfile.FromProto(message)
	return plan, message, err
}
