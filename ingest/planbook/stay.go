package planbook

import (
	"context"
	"fmt"
	"strings"
	"time"
)

// A stay is one ship at one berth without another in between; plans of the same
// ship that follow each other are one stay. Its document is a time in RFC 3339, a
// space and the ship's name. It is written before the berth comes under the
// ship's plan, so a stop in between leaves a stay of a ship that is not there: it
// counts for nothing.

// stay is since when the ship of a berth's current plan is there. Where that is
// not on record it is since now: a stay may be told too short, never too long.
func (b *Book) stay(ctx context.Context, e Entry) (time.Time, error) {
	data, ok, err := b.docs.Get(ctx, staysBucket, e.Plan.Berth)
	if err != nil {
		return time.Time{}, fmt.Errorf("berth %s: stay: %w", e.Plan.Berth, err)
	}
	since, ship, _ := strings.Cut(string(data), " ")
	if t, err := time.Parse(time.RFC3339Nano, since); ok && err == nil && ship == e.Plan.Ship.Name {
		return t, nil
	}
	e.Since = time.Now().UTC().Round(0)
	return e.Since, b.recordStay(ctx, e)
}

func (b *Book) recordStay(ctx context.Context, e Entry) error {
	document := e.Since.Format(time.RFC3339Nano) + " " + e.Plan.Ship.Name
	if err := b.docs.Put(ctx, staysBucket, e.Plan.Berth, []byte(document)); err != nil {
		return fmt.Errorf("berth %s: keep stay: %w", e.Plan.Berth, err)
	}
	return nil
}
