package influx

import (
	"context"
	"fmt"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"hawser/ingest/store"
)

// measurementLine is the measurement of what plans say of lines. Fields, not tags:
// a plan put right replaces what it said before.
//
//	mooring_line,berth=B,line=7 group="head",mbl_kilonewtons=660,working_load_kilonewtons=330 1767225600000000000
const measurementLine = "mooring_line"

// PutLines writes what a berth's plan says of its lines, as of the time since when
// the plan's ship is there. The same again changes nothing.
func (s *Store) PutLines(ctx context.Context, berth string, since time.Time, lines []store.PlanLine) error {
	if s.isClosed() {
		return store.ErrClosed
	}
	if err := store.CheckName(berth); err != nil {
		return fmt.Errorf("influx: berth: %w", err)
	}
	var points []*write.Point
	for _, l := range lines {
		if err := store.CheckName(l.Line); err != nil {
			return fmt.Errorf("influx: berth %s: line: %w", berth, err)
		}
		points = append(points, write.NewPointWithMeasurement(measurementLine).AddTag(tagBerth, berth).AddTag(tagLine, l.Line).
			AddField("group", l.Group).AddField("mbl_kilonewtons", l.MBLkN).AddField("working_load_kilonewtons", l.WorkingLoadKN).SetTime(since))
	}
	limited, cancel := context.WithTimeout(ctx, s.opts.timeout)
	defer cancel()
	if err := s.write.WritePoint(limited, points...); err != nil {
		return fmt.Errorf("influx: lines of berth %s: %w", berth, err)
	}
	return nil
}
