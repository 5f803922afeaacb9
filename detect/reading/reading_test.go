package reading_test

import (
	"strings"
	"testing"

	"hawser/detect/reading"
)

// The channels of a recording with their units; common practice, no source.
func TestChannelNames(t *testing.T) {
	for _, c := range []struct {
		name, unit string
		want       reading.Channel
	}{
		{"7/tension", "kN", reading.Channel{Line: "7", Kind: reading.Tension}},
		{"FB-2/payout", "m", reading.Channel{Line: "FB-2", Kind: reading.Payout}},
		{"7/brake", "", reading.Channel{Line: "7", Kind: reading.Brake}},
		{"wind/speed", "m/s", reading.Channel{Kind: reading.WindSpeed}},
		{"wind/direction", "deg", reading.Channel{Kind: reading.WindDirection}},
		{"water/level", "m", reading.Channel{Kind: reading.WaterLevel}},
		{"ship/draft-fwd", "m", reading.Channel{Kind: reading.DraftFwd}},
		{"ship/draft-aft", "m", reading.Channel{Kind: reading.DraftAft}},
		{"berth/watch", "", reading.Channel{Kind: reading.UnderWatch}},
	} {
		got, err := reading.ParseChannel(c.name)
		if err != nil || got != c.want || got.String() != c.name || got.Kind.Unit() != c.unit {
			t.Errorf("%s: %+v in %q, %v; want %+v in %q", c.name, got, got.Kind.Unit(), err, c.want, c.unit)
		}
	}
	for _, name := range []string{"", "/", "/tension", "7/", "7/load", "7", "wind", "wind/gust", "7/tension/raw", "7/Tension", "ship/tension/"} {
		if c, err := reading.ParseChannel(name); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%q: %+v, %v", name, c, err)
		}
	}
}

func TestDropEmptiesRefusedColumnsOnly(t *testing.T) {
	b := reading.Block{Series: []reading.Series{
		{Time: []int64{1, 2}, Value: []float64{1, 2}},
		{Time: []int64{3}, Value: []float64{3}, Quality: []reading.Quality{reading.Bad}},
	}}
	if got := b.Samples(); got != 3 {
		t.Errorf("%d readings, want 3", got)
	}
	b.Drop([]uint32{0, 7})
	if b.Series[0].Len() != 0 || b.Series[1].Len() != 1 || b.Series[1].QualityAt(0) != reading.Bad {
		t.Errorf("after the drop: %+v", b.Series)
	}
}
