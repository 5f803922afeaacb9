package influx

import (
	"context"
	"fmt"
	"strconv"
	"time"

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
	var text []byte
	for _, l := range lines {
		if err := store.CheckName(l.Line); err != nil {
			return fmt.Errorf("influx: berth %s: line: %w", berth, err)
		}
		text = append(text, measurementLine+","+tagBerth+"="...)
		text = appendTag(text, berth)
		text = append(text, ","+tagLine+"="...)
		text = appendTag(text, l.Line)
		text = append(text, " group="...)
		text = strconv.AppendQuote(text, l.Group)
		text = append(text, ",mbl_kilonewtons="...)
		text = strconv.AppendFloat(text, l.MBLkN, 'g', -1, 64)
		text = append(text, ",working_load_kilonewtons="...)
		text = strconv.AppendFloat(text, l.WorkingLoadKN, 'g', -1, 64)
		text = append(text, ' ')
		text = strconv.AppendInt(text, since.UnixNano(), 10)
		text = append(text, '\n')
	}
	limited, cancel := context.WithTimeout(ctx, s.opts.timeout)
	defer cancel()
	if err := s.write.WriteRecord(limited, string(text)); err != nil {
		return fmt.Errorf("influx: lines of berth %s: %w", berth, err)
	}
	return nil
}
