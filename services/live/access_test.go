package live_test

import (
	"context"
	"testing"

	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// sight sees one ship at one berth.
type sight struct{ berth, ship string }

func (s sight) SeesShip(_ context.Context, berth, ship string) bool {
	return berth == s.berth && ship == s.ship
}

// A caller is given the pictures they may see, and the pictures, which others
// share, stay as they are.
func TestSeen(t *testing.T) {
	pictures := []*hawserv1.BerthPicture{{Berth: "east-3", Ship: "Heron"}, {Berth: "east-3", Ship: "Curlew"}, {Berth: "west-1", Ship: "Heron"}}
	seen := live.Seen(t.Context(), sight{"east-3", "Curlew"}, pictures)
	if len(seen) != 1 || seen[0] != pictures[1] {
		t.Errorf("seen: %v", seen)
	}
	if len(live.Seen(t.Context(), nil, pictures)) != 3 {
		t.Error("without access not everything is seen")
	}
	if pictures[0].Ship != "Heron" || pictures[2].Berth != "west-1" {
		t.Errorf("pictures: %v", pictures)
	}
}
