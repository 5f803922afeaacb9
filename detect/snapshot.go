package detect

import (
	"bytes"
	"encoding/binary"
	"encoding/gob"
	"errors"
	"fmt"
	"hash/crc32"
	"hash/fnv"

	"hawser/detect/mooring"
)

// A snapshot is
//
//	"HWDS" │ version uint16 │ plan shape uint64 │ CRC-32C of the rest uint32 │ gob of state
//
// big-endian. The version rises with any change of what state means; the shape covers
// everything of the plan that a detector reads. Both are checked: a snapshot is used only
// where the berth would have the same state from the readings themselves.
const (
	snapshotMagic   = "HWDS"
	snapshotVersion = 31
	snapshotHead    = 4 + 2 + 8 + 4
)

// ErrSnapshot is wrapped by every error of Restore.
var ErrSnapshot = errors.New("snapshot not usable")

// Snapshot is everything that the berth has learnt, for Restore.
func (b *Berth) Snapshot() ([]byte, error) {
	var buf bytes.Buffer
	buf.Write(make([]byte, snapshotHead))
	st := b.state
	st.Feed.Rings = make([]ring, len(b.state.Feed.Rings))
	for i := range st.Feed.Rings {
		st.Feed.Rings[i] = b.state.Feed.Rings[i].packed()
	}
	if err := gob.NewEncoder(&buf).Encode(&st); err != nil {
		return nil, fmt.Errorf("berth %s: snapshot: %w", b.plan.Berth, err)
	}
	out := buf.Bytes()
	copy(out, snapshotMagic)
	binary.BigEndian.PutUint16(out[4:], snapshotVersion)
	binary.BigEndian.PutUint64(out[6:], shape(b.plan))
	binary.BigEndian.PutUint32(out[14:], checksum(out[snapshotHead:]))
	return out, nil
}

// Restore makes a berth that continues where Snapshot was taken. The plan must be that of
// the snapshot in all that detection reads. Errors wrap ErrSnapshot.
func Restore(plan *mooring.Plan, snapshot []byte) (*Berth, error) {
	b := New(plan)
	if err := b.restore(snapshot); err != nil {
		return nil, fmt.Errorf("berth %s: %w: %w", plan.Berth, ErrSnapshot, err)
	}
	return b, nil
}

func (b *Berth) restore(p []byte) error {
	if len(p) < snapshotHead || string(p[:4]) != snapshotMagic {
		return errors.New("not a snapshot")
	}
	if v := binary.BigEndian.Uint16(p[4:]); v != snapshotVersion {
		return fmt.Errorf("version %d, expected %d", v, snapshotVersion)
	}
	if binary.BigEndian.Uint64(p[6:]) != shape(b.plan) {
		return errors.New("taken under another plan")
	}
	if binary.BigEndian.Uint32(p[14:]) != checksum(p[snapshotHead:]) {
		return errors.New("damaged")
	}
	st := state{}
	if err := gob.NewDecoder(bytes.NewReader(p[snapshotHead:])).Decode(&st); err != nil {
		return fmt.Errorf("decode: %w", err)
	}
	if len(st.Lines) != len(b.state.Lines) || len(st.Feed.Rings) != len(b.state.Feed.Rings) {
		return fmt.Errorf("%d lines, expected %d", len(st.Lines), len(b.state.Lines))
	}
	for i := range st.Feed.Rings {
		if !st.Feed.Rings[i].unpack() {
			return fmt.Errorf("channel %d: ring out of shape", i)
		}
	}
	b.state = st
	return nil
}

func checksum(p []byte) uint32 { return crc32.Checksum(p, crc32.MakeTable(crc32.Castagnoli)) }

// shape is a hash of all of the plan that a detector reads. What the plan points to is
// written beside it: within it only the address would be, another in each process.
func shape(plan *mooring.Plan) uint64 {
	h := fnv.New64a()
	p, s := *plan, &plan.Ship
	p.Lines, p.Tide, p.Ship.Windage, p.Ship.WindBy, p.Ship.CurrentBy = nil, nil, nil, nil, nil
	fmt.Fprintf(h, "%+v\n%+v\n%+v\n%+v\n%+v\n", p, plan.Tide, s.Windage, s.WindBy, s.CurrentBy)
	for _, l := range plan.Lines {
		tail := l.Tail
		l.Tail = nil
		fmt.Fprintf(h, "%+v\n", l)
		if tail != nil {
			fmt.Fprintf(h, "%+v\n", *tail)
		}
	}
	return h.Sum64()
}
