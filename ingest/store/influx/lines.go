package influx

import (
	"strconv"

	"hawser/detect/reading"
)

// measurement is the name under which a kind's readings are kept: the quantity
// and its unit.
func measurement(k reading.Kind) string {
	switch k {
	case reading.Tension:
		return "tension_kilonewtons"
	case reading.Payout:
		return "payout_metres"
	case reading.Brake:
		return "brake_set"
	case reading.WindSpeed:
		return "wind_speed_metres_per_second"
	case reading.WindDirection:
		return "wind_direction_degrees"
	case reading.WaterLevel:
		return "water_level_metres"
	case reading.DraftFwd:
		return "draft_forward_metres"
	case reading.DraftAft:
		return "draft_aft_metres"
	case reading.UnderWatch:
		return "under_watch"
	default:
		return ""
	}
}

// kindOf is measurement turned round, Unknown for a name that is none of ours.
func kindOf(name string) reading.Kind {
	for k := reading.Tension; k.String() != reading.Unknown.String(); k++ {
		if measurement(k) == name {
			return k
		}
	}
	return reading.Unknown
}

// Names of tags and fields.
const (
	tagBerth     = "berth"
	tagLine      = "line"
	fieldValue   = "value"
	fieldQuality = "quality"
)

// batch is lines of one request, in memory that is used again.
type batch struct {
	text  []byte
	lines int

	// Place of the first line, for errors.
	berth   string
	channel reading.Channel
	time    int64

	prefix []byte // measurement and tags of the series being written
}

func (b *batch) reset() { b.text, b.lines = b.text[:0], 0 }

// begin starts a series of readings.
func (b *batch) begin(berth string, c reading.Channel) { b.beginNamed(measurement(c.Kind), berth, c) }

func (b *batch) beginNamed(measurement, berth string, c reading.Channel) {
	b.prefix = append(b.prefix[:0], measurement...)
	b.prefix = append(b.prefix, ","+tagBerth+"="...)
	b.prefix = appendTag(b.prefix, berth)
	if c.Kind.OfLine() {
		b.prefix = append(b.prefix, ","+tagLine+"="...)
		b.prefix = appendTag(b.prefix, c.Line)
	}
	b.prefix = append(b.prefix, ' ')
}

// add writes one reading as a line. Its number has the fewest digits that give the
// same float64 when parsed.
func (b *batch) add(t int64, v float64, q reading.Quality) {
	if v-v != 0 { // not a number, or infinite
		q = reading.Bad
	}
	b.text = append(b.text, b.prefix...)
	if q != reading.Bad {
		b.text = append(b.text, fieldValue+"="...)
		b.text = strconv.AppendFloat(b.text, v, 'g', -1, 64)
	}
	if q != reading.Good {
		if q != reading.Bad {
			b.text = append(b.text, ',')
		}
		b.text = append(b.text, fieldQuality+"="...)
		b.text = strconv.AppendUint(b.text, uint64(q), 10)
		b.text = append(b.text, 'i')
	}
	b.text = append(b.text, ' ')
	b.text = strconv.AppendInt(b.text, t, 10)
	b.text = append(b.text, '\n')
	b.lines++
}

// appendTag writes a tag's value: comma, space and equals sign are escaped (line
// protocol). Names have no backslash and no control character.
func appendTag(dst []byte, s string) []byte {
	for i := range len(s) {
		switch s[i] {
		case ',', ' ', '=':
			dst = append(dst, '\\')
		}
		dst = append(dst, s[i])
	}
	return dst
}
