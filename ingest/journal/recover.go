package journal

import (
	"context"
	"encoding/json"
	"fmt"
)

// Recovery is what opening the journal inside the process found. The server
// repairs a damaged stream by itself: it cuts a block file at the first record
// whose checksum fails, so damage costs at most the rest of that block (a few
// MiB), and a lost index costs nothing.
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
	// CutBytes is how much the server cut off as damaged, half-written records
	// of a killed process included.
	CutBytes uint64
	// Warnings is what the server said, the first few.
	Warnings []string

	known bool // there was a mark
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
	r.CutBytes, err = j.cutBytes(ctx)
	if err != nil {
		return err
	}
	r.Warnings = log.warnings()
	j.m.lostEntries.Set(float64(r.LostTail + r.LostWithin))
	j.m.lostBytes.Set(float64(r.CutBytes))
	attrs := []any{"first", r.First, "last", r.Last, "on_disk", r.OnDisk, "closed_in_order", r.InOrder,
		"lost_tail", r.LostTail, "lost_within", r.LostWithin, "cut_bytes", r.CutBytes}
	switch {
	case r.Damaged():
		j.log.Error("journal opened with entries missing", attrs...)
	case r.CutBytes > 0:
		j.log.Warn("journal opened after cutting damaged records", attrs...)
	default:
		j.log.Info("journal opened", attrs...)
	}
	j.onDisk = mark{position: r.Last, block: j.telemetryTail.block, missing: missing}
	return j.mark.write(j.onDisk)
}

// cutBytes asks for the one figure of a stream's state that the client library
// leaves out.
func (j *Journal) cutBytes(ctx context.Context) (uint64, error) {
	reply, err := j.readConn.RequestWithContext(ctx, "$JS.API.STREAM.INFO."+telemetryStream, nil)
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrStorage, err)
	}
	var info struct {
		State struct {
			Lost *struct {
				Bytes uint64 `json:"bytes"`
			} `json:"lost"`
		} `json:"state"`
	}
	if err := json.Unmarshal(reply.Data, &info); err != nil {
		return 0, fmt.Errorf("%w: stream state: %w", ErrStorage, err)
	}
	if info.State.Lost == nil {
		return 0, nil
	}
	return info.State.Lost.Bytes, nil
}
