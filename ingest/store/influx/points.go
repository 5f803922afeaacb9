package influx

import (
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"hawser/detect/reading"
	"hawser/ingest/store/roll"
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

// rollMeasurement is the name under which a kind's rolls are kept.
func rollMeasurement(k reading.Kind, r roll.Resolution) string {
	return measurement(k) + "_" + r.String()
}

// Names of tags and fields. Of a roll those but the mean are left out where there is
// one reading.
const (
	tagBerth     = "berth"
	tagLine      = "line"
	fieldValue   = "value"
	fieldQuality = "quality"
	fieldMean    = "mean"
	fieldMin     = "min"
	fieldMax     = "max"
	fieldStd     = "std"
	fieldCount   = "count"
)

// point is a point of a channel without its fields.
func point(measurement, berth string, c reading.Channel, t int64) *write.Point {
	p := write.NewPointWithMeasurement(measurement).AddTag(tagBerth, berth).SetTime(time.Unix(0, t))
	if c.Kind.OfLine() {
		p.AddTag(tagLine, c.Line)
	}
	return p
}

// readingPoint is one reading.
func readingPoint(berth string, c reading.Channel, t int64, v float64, q reading.Quality) *write.Point {
	p := point(measurement(c.Kind), berth, c, t)
	if v-v != 0 { // not a number, or infinite
		q = reading.Bad
	}
	if q != reading.Bad {
		p.AddField(fieldValue, v)
	}
	if q != reading.Good {
		p.AddField(fieldQuality, int64(q))
	}
	return p
}

// rollPoint is one roll.
func rollPoint(berth string, c reading.Channel, res roll.Resolution, r *roll.Roll) *write.Point {
	p := point(rollMeasurement(c.Kind, res), berth, c, r.Time).AddField(fieldMean, r.Mean())
	if r.Count > 1 {
		p.AddField(fieldMin, r.Min()).AddField(fieldMax, r.Max()).AddField(fieldStd, r.Std()).AddField(fieldCount, r.Count)
	}
	return p
}
