package journal

import (
	"context"
	"fmt"
)

// Recovery is what opening the journal inside the process found. The server
// repairs a damaged stream by itself. After a kill, or when its index is lost or
// does not fit, it checks every record and cuts a block file at the first that
// fails its checksum: damage costs the rest of that block, at most 8 MiB. After a
// close in order it checks nothing; a damaged record is then left out, alone,
// when it is read, and OnLoss tells. A lost index or stream description costs
// nothing. Only a lost oldest block passes unnoticed here: it looks as if the
// limits had dropped it, and to a reader that had not come so far OnLoss tells.
type Recovery struct {
	// InOrder: the journal had been closed, not killed.
	InOrder bool
	// First and Last are the bounds found.
	First, Last Position
	// OnDisk is the newest position that had been synced, by our own mark; 0
	// when there was no mark.
	OnDisk Position
	// LostTail is how many positions up to OnDisk are gone from the end. New
	// entries take these positions again.
	LostTail uint64
	// LostWithin is how many positions have newly gone between First and Last.
	LostWithin uint64
	// Warnings is what the server said, the first few.
	Warnings []string
}

// Damaged reports whether anything that had been on disk is gone.
func (r Recovery) Damaged() bool { return r.LostTail > 0 || r.LostWithin > 0 }

// Recovery is what was found when the journal was opened. Empty for a server
// outside.
func (j *Journal) Recovery() Recovery { return j.recovery }

// recover compares what the server found with the mark, and tells.
func (j *Journal) recover(ctx context.Context, log *serverLog) error {
	info, err := j.telemetry.Info(ctx)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrStorage, err)
	}
	r := &j.recovery
	r.First, r.Last = bounds(info.State)
	if r.OnDisk > r.Last {
		r.LostTail = uint64(r.OnDisk - r.Last)
	}
	missing := uint64(r.Last+1-r.First) - info.State.Msgs
	if missing > j.onDisk.missing {
		r.LostWithin = missing - j.onDisk.missing
	}
	r.Warnings = log.warnings()
	j.m.lostEntries.Set(float64(r.LostTail + r.LostWithin))
	attrs := []any{"first", r.First, "last", r.Last, "on_disk", r.OnDisk, "closed_in_order", r.InOrder,
		"lost_tail", r.LostTail, "lost_within", r.LostWithin}
	if r.Damaged() {
		j.log.Error("journal opened with entries missing", attrs...)
	} else {
		j.log.Info("journal opened", attrs...)
	}
	j.onDisk = mark{position: r.Last, block: j.telemetryTail.block, missing: missing}
	return j.mark.write(j.onDisk)
}
