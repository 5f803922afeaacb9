package web

import (
	"math"
	"slices"
	"strconv"

	hawserv1 "hawser/proto/hawser/v1"
)

// The forms below are what pages are told, as JSON: the whole picture at first,
// then only what changed of it, in the same form. Loads are kN, lengths metres,
// times Unix milliseconds of the server's clock unless said otherwise; what is
// left out is unknown. app/lib/wire.ts says the same in TypeScript.

// pictureWire is all that a page shows, or what changed of it.
type pictureWire struct {
	At int64 `json:"at"` // now
	// Build names the bundles of this server, in the whole picture.
	Build string `json:"build,omitempty"`
	// Names are the berths there are, in order; left out where they are the same.
	Names  []string              `json:"names,omitzero"`
	Berths map[string]*berthWire `json:"berths,omitempty"`
	// Alarms are all of them, left out where none changed.
	Alarms *alarmsWire `json:"alarms,omitempty"`
}

// berthWire is one berth, or the parts of it that changed. Each part but Course
// is whole: it takes the place of the one before.
type berthWire struct {
	Frame *frameWire          `json:"frame,omitempty"`
	Now   *nowWire            `json:"now,omitempty"`
	Loss  *lossWire           `json:"loss,omitempty"`
	Loads map[string]loadWire `json:"loads,omitempty"` // by line
	// Course is spans by line: new ones, and old ones that late readings changed.
	Course map[string][]spanWire `json:"course,omitempty"`
}

// frameWire is what stays while a ship lies there.
type frameWire struct {
	Ship  string      `json:"ship"`
	Lines []lineFrame `json:"lines"` // in the plan's order
	// By the plan: from which share of its limit a line is near that, from which ratio
	// to the others one makes its group uneven, and from which share of MBL in it.
	Near   number `json:"near"`
	Uneven number `json:"uneven"`
	Floor  number `json:"floor"`
}

// same reports whether another frame says the same.
func (f *frameWire) same(o *frameWire) bool {
	return f.Ship == o.Ship && slices.Equal(f.Lines, o.Lines) && f.Near == o.Near && f.Uneven == o.Uneven && f.Floor == o.Floor
}

type lineFrame struct {
	ID    string `json:"id"`
	Group string `json:"group"`
	MBL   number `json:"mbl"`
	Limit number `json:"limit"` // working load limit
	Winch bool   `json:"winch,omitempty"`
	Pin   bool   `json:"pin,omitempty"` // has a load pin
}

// nowWire is the newest of the berth itself.
type nowWire struct {
	Live   bool   `json:"live,omitempty"`
	At     int64  `json:"at,omitempty"`     // readings last came in
	Newest int64  `json:"newest,omitempty"` // time of the newest reading, by its source
	Watch  choice `json:"watch,omitzero"`   // under watch, as the berth says
	Lies   string `json:"lies,omitempty"`   // fast, down or moved, as the detectors take it
	Wind   number `json:"wind,omitzero"`    // m/s
	From   number `json:"from,omitzero"`    // true bearing it blows from
	Level  number `json:"level,omitzero"`
	Fwd    number `json:"fwd,omitzero"` // draft
	Aft    number `json:"aft,omitzero"`
}

// loadWire is the newest of one line.
type loadWire struct {
	KN     number `json:"kN,omitzero"`
	At     int64  `json:"at,omitempty"` // its last good reading came in
	Sensor string `json:"sensor"`       // good, bad, silent or none
	Payout number `json:"payout,omitzero"`
	Brake  choice `json:"brake,omitzero"` // set
	// Rate is how fast the load rises, kN a minute; left out where it is steady.
	Rate number `json:"rate,omitzero"`
	// Shown is from which load its parting, which no load pin shows, is told by how the
	// ship moves; left out where that is not looked for.
	Shown number `json:"shown,omitzero"`
	// Hidden says that it is told at no load.
	Hidden bool `json:"hidden,omitempty"`
}

// spanWire is the load over ten seconds: [number of the span since 1970, least,
// mean, greatest].
type spanWire [4]number

// lossWire is the worst that the loss of any one line would do.
type lossWire struct {
	Lost  []string `json:"lost,omitempty"` // left out where nothing is reckoned
	Line  string   `json:"line,omitempty"` // loaded worst then
	KN    number   `json:"kN,omitzero"`
	Share number   `json:"share,omitzero"` // of its working load limit
	// Adrift says that nothing would hold the ship.
	Adrift bool     `json:"adrift,omitempty"`
	Parts  []string `json:"parts,omitempty"` // would part after it
}

// number is a figure that may be unknown. Numbers are comparable.
type number struct {
	v     float64
	known bool
}

// to rounds a figure to a number of decimals.
func to(decimals int, v *float64) number {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return number{}
	}
	p := math.Pow10(decimals)
	return number{math.Round(*v*p)/p + 0, true} // + 0: no minus before a zero
}

func exactly(v float64) number { return number{v, true} }

// IsZero reports whether the number is unknown.
func (n number) IsZero() bool { return !n.known }

// MarshalJSON writes the shortest form.
func (n number) MarshalJSON() ([]byte, error) {
	if !n.known {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, n.v, 'f', -1, 64), nil
}

// choice is yes, no or unknown.
type choice int8

const (
	unknown choice = iota
	no
	yes
)

func chosen(v *bool) choice {
	switch {
	case v == nil:
		return unknown
	case *v:
		return yes
	}
	return no
}

// MarshalJSON writes true or false.
func (c choice) MarshalJSON() ([]byte, error) { return strconv.AppendBool(nil, c == yes), nil }

// sensorName is what a load pin is worth, in a word of the wire.
func sensorName(s hawserv1.SensorState) string {
	switch s {
	case hawserv1.SensorState_SENSOR_STATE_GOOD:
		return "good"
	case hawserv1.SensorState_SENSOR_STATE_BAD:
		return "bad"
	case hawserv1.SensorState_SENSOR_STATE_NONE:
		return "none"
	}
	return "silent"
}
