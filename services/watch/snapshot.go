package watch

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"maps"
	"slices"
	"time"
)

// A snapshot is a berth's state after the entry at a position:
//
//	"HWWS" │ version uint8 │ CRC-32C of the rest uint32 │ position uint64 │ plan │
//	senders: how many uint16 │ line │ source │ line │ source … │ state
//
// big-endian; plan, lines and sources each after their length, uint8. State is the
// detectors' own, with a version of its own.
const (
	snapshotMagic   = "HWWS"
	snapshotVersion = 2
	snapshotHead    = 4 + 1 + 4
	snapshotLeast   = snapshotHead + 8 + 1 + 2
)

type snapshot struct {
	position uint64
	plan     string
	senders  map[string]string // by line
	state    []byte
}

func (s *snapshot) encode() ([]byte, error) {
	out := make([]byte, snapshotHead, snapshotLeast+len(s.plan)+32*len(s.senders)+len(s.state))
	out = binary.BigEndian.AppendUint64(out, s.position)
	text := func(t string) error {
		if len(t) > 255 {
			return fmt.Errorf("text of %d bytes, at most 255: %q", len(t), t)
		}
		out = append(append(out, byte(len(t))), t...)
		return nil
	}
	if err := text(s.plan); err != nil {
		return nil, err
	}
	out = binary.BigEndian.AppendUint16(out, uint16(len(s.senders)))
	for _, line := range slices.Sorted(maps.Keys(s.senders)) {
		if err := errors.Join(text(line), text(s.senders[line])); err != nil {
			return nil, err
		}
	}
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
	rest := p[snapshotHead:]
	if binary.BigEndian.Uint32(p[5:]) != checksum(rest) {
		return nil, errors.New("damaged")
	}
	short := false
	take := func(n int) []byte {
		if n > len(rest) {
			short, rest = true, nil
			return make([]byte, 8) // as long as any number is
		}
		taken := rest[:n]
		rest = rest[n:]
		return taken
	}
	text := func() string { return string(take(int(take(1)[0]))) }
	s := &snapshot{position: binary.BigEndian.Uint64(take(8)), plan: text(), senders: map[string]string{}}
	for range binary.BigEndian.Uint16(take(2)) {
		line := text()
		s.senders[line] = text()
	}
	if short {
		return nil, errors.New("cut short")
	}
	s.state = rest
	return s, nil
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
	unit, err := restoreUnit(plan, s.state)
	if err != nil {
		return err
	}
	b.unit, b.plan, b.position, b.kept, b.counted = unit, s.plan, s.position, s.position, unit.Oddities()
	b.sent.restore(b.berth, s.senders)
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
	data, err := (&snapshot{position: b.position, plan: b.plan, senders: b.sent.of(b.berth), state: state}).encode()
	if err != nil {
		return err
	}
	return b.o.Journal.SaveSnapshot(ctx, b.berth, data)
}
