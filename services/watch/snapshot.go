package watch

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"time"
)

// A snapshot is a berth's state after the entry at a position:
//
//	"HWWS" │ version uint8 │ CRC-32C of the rest uint32 │ position uint64 │ plan's length uint8 │ plan │ state
//
// big-endian. State is the detectors' own, with a version of its own.
const (
	snapshotMagic   = "HWWS"
	snapshotVersion = 1
	snapshotHead    = 4 + 1 + 4
	snapshotLeast   = snapshotHead + 8 + 1
)

type snapshot struct {
	position uint64
	plan     string
	state    []byte
}

func (s *snapshot) encode() ([]byte, error) {
	if len(s.plan) > 255 {
		return nil, fmt.Errorf("plan's fingerprint of %d bytes, at most 255", len(s.plan))
	}
	out := make([]byte, snapshotHead, snapshotLeast+len(s.plan)+len(s.state))
	out = binary.BigEndian.AppendUint64(out, s.position)
	out = append(out, byte(len(s.plan)))
	out = append(out, s.plan...)
	out = append(out, s.state...)
	copy(out, snapshotMagic)
	out[4] = snapshotVersion
	binary.BigEndian.PutUint32(out[5:], checksum(out[snapshotHead:]))
	return out, nil
}

func decodeSnapshot(p []byte) (*snapshot, error) {
	if len(p) < snapshotLeast || string(p[:4]) != snapshotMagic {
		return nil, errors.New("not a snapshot")
	}
	if p[4] != snapshotVersion {
		return nil, fmt.Errorf("version %d, expected %d", p[4], snapshotVersion)
	}
	body := p[snapshotHead:]
	if binary.BigEndian.Uint32(p[5:]) != checksum(body) {
		return nil, errors.New("damaged")
	}
	plan, rest := int(body[8]), body[9:]
	if plan > len(rest) {
		return nil, fmt.Errorf("plan's fingerprint of %d bytes, %d left", plan, len(rest))
	}
	return &snapshot{position: binary.BigEndian.Uint64(body), plan: string(rest[:plan]), state: rest[plan:]}, nil
}

func checksum(p []byte) uint32 { return crc32.Checksum(p, crc32.MakeTable(crc32.Castagnoli)) }

// load goes on from the berth's snapshot if there is one that can be used.
func (b *berthWatch) load(ctx context.Context) error {
	data, ok, err := b.o.Journal.LoadSnapshot(ctx, b.berth)
	if err != nil || !ok || len(data) == 0 {
		return err
	}
	s, err := decodeSnapshot(data)
	if err == nil && s.position > b.end {
		b.o.Log.Warn("snapshot of a berth is past the end of the journal, which has lost what came after; reading the journal again",
			"berth", b.berth, "snapshot", s.position, "last", b.end)
		// For good: once the journal has grown past it, nothing would tell.
		return b.o.Journal.SaveSnapshot(ctx, b.berth, nil)
	}
	if err == nil {
		err = b.restore(ctx, s)
	}
	if err != nil {
		b.o.Log.Warn("snapshot of a berth not usable, reading the journal again", "berth", b.berth, "err", err)
	}
	return ctx.Err()
}

func (b *berthWatch) restore(ctx context.Context, s *snapshot) error {
	plan, err := b.o.Plans.PlanByFingerprint(ctx, b.berth, s.plan)
	if err != nil {
		return err
	}
	unit, err := RestoreUnit(plan, s.state)
	if err != nil {
		return err
	}
	b.unit, b.plan, b.position, b.kept, b.counted = unit, s.plan, s.position, s.position, unit.Oddities()
	b.o.Picture.SetPlan(b.berth, plan)
	return nil
}

// save keeps the berth's state if there is anything new in it. That it could not
// is told and no more: the watch goes on, and a restart reads more again.
func (b *berthWatch) save(ctx context.Context) {
	b.saved = time.Now()
	if b.unit == nil || b.position == b.kept {
		return
	}
	if err := b.put(ctx); err != nil {
		b.m.saveErrors.WithLabelValues(b.berth).Inc()
		b.o.Log.Warn("state of a berth not kept", "berth", b.berth, "position", b.position, "err", err)
		return
	}
	b.kept = b.position
}

func (b *berthWatch) put(ctx context.Context) error {
	state, err := b.unit.Snapshot()
	if err != nil {
		return err
	}
	data, err := (&snapshot{position: b.position, plan: b.plan, state: state}).encode()
	if err != nil {
		return err
	}
	return b.o.Journal.SaveSnapshot(ctx, b.berth, data)
}
