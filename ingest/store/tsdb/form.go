package tsdb

import (
	"math"
	"strconv"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"

	"hawser/detect/reading"
	"hawser/ingest/store/roll"
)

// Names of labels and of the two kinds of series.
const (
	labelBerth    = "berth"
	labelKind     = "kind"
	labelLine     = "line"
	labelDecimals = "decimals"
	nameReading   = "reading"
	nameQuality   = "quality"
	noDecimals    = "none"
)

const (
	maxDecimals = roll.MaxDecimals
	// anyDecimals is the form of values on no grid, stored as they are.
	anyDecimals = roll.NoGrid
	// usualDecimals is the finest resolution of an instrument of a mooring. Values
	// of a coarser block are stored with the channel's usual decimals, so that a
	// second of whole numbers does not start a series; one odd block with more must
	// not make all that follow wider.
	usualDecimals = 4
)

func scale(decimals int8) float64 { return roll.Scale(decimals) }

// form is one series of a channel: its values are whole numbers of 10^-decimals.
type form struct {
	decimals int8
	ref      storage.SeriesRef // 0 until first used; a hint, the labels decide
	labels   labels.Labels
}

// pack appends the series' values times 10^decimals to dst, 0 for bad readings.
// ok is false if one of them is not exactly n/10^decimals for a whole n, and would
// not come back as it was. Both n and the power are exact, so their quotient is
// the float64 nearest to the decimal number: what parsing its text gives (IEEE
// 754, correctly rounded division).
func pack(dst []float64, s *reading.Series, decimals int8) (_ []float64, ok bool) {
	p := scale(decimals)
	for i, v := range s.Value {
		n := v
		if isBad(s, i) {
			n = 0
		} else if decimals >= 0 {
			if n = math.Round(v * p); n/p != v {
				return dst, false
			}
		}
		dst = append(dst, n)
	}
	return dst, true
}

// isBad reports whether reading i is no number, whatever its quality says: a
// store does not let a not-a-number in as a value.
func isBad(s *reading.Series, i int) bool {
	v := s.Value[i]
	return v-v != 0 || s.QualityAt(i) == reading.Bad
}

// chooseForm gives the index of the form for a block's decimals among a channel's
// forms, or -1 if it needs a new one.
func chooseForm(forms []form, decimals int8) int {
	best := -1
	for i := range forms {
		d := forms[i].decimals
		if d == decimals && d == anyDecimals {
			return i
		}
		if decimals < 0 || d < decimals {
			continue
		}
		if best < 0 || preferred(d, forms[best].decimals) {
			best = i
		}
	}
	return best
}

// preferred reports whether decimals a go before b for values that both can
// hold: the finest of the usual ones, so that a channel settles on one series,
// else the coarsest.
func preferred(a, b int8) bool {
	if a <= usualDecimals && b <= usualDecimals {
		return a > b
	}
	return a < b
}

func seriesLabels(name, berth string, c reading.Channel, decimals int8) labels.Labels {
	d := noDecimals
	if decimals >= 0 {
		d = strconv.Itoa(int(decimals))
	}
	pairs := []string{
		model.MetricNameLabel, name, labelBerth, berth, labelKind, c.Kind.String(), labelDecimals, d,
	}
	if c.Line != "" {
		pairs = append(pairs, labelLine, c.Line)
	}
	return labels.FromStrings(pairs...)
}

// readLabels is seriesLabels turned round; ok is false for labels that are none
// of ours.
func readLabels(l labels.Labels) (k key, decimals int8, ok bool) {
	name, line := l.Get(model.MetricNameLabel), l.Get(labelLine)
	text := l.Get(labelKind)
	if line != "" {
		text = line + "/" + text
	}
	c, err := reading.ParseChannel(text)
	if err != nil || (name != nameReading && name != nameQuality) {
		return key{}, 0, false
	}
	k = key{channel: c, quality: name == nameQuality}
	d := l.Get(labelDecimals)
	if d == noDecimals {
		return k, anyDecimals, true
	}
	n, err := strconv.ParseInt(d, 10, 8)
	if err != nil || n < 0 || n > maxDecimals {
		return key{}, 0, false
	}
	return k, int8(n), true
}
