package intake_test

import (
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/intake"
	"hawser/services/waittest"
)

// savedUp is what a source may send at once, 8 MiB.
const savedUp = 8 << 20

// dense is a batch of some 200 kB, all of one second that begins at a time.
func dense(sequence uint64, from int64) []byte {
	noise := rand.New(rand.NewPCG(sequence, 1))
	s := reading.Series{Channel: reading.Channel{Line: "1", Kind: reading.Tension}, Decimals: 9}
	for i := range int64(20_000) {
		s.Time = append(s.Time, from+second*i/20_000+noise.Int64N(20_000))
		s.Value = append(s.Value, 100*noise.Float64())
	}
	return encode(&reading.Block{Sequence: sequence, Series: []reading.Series{s}})
}

// bytesOf is how much of a source the journal was handed.
func (m *memory) bytesOf(source string) (sum int) {
	for _, e := range m.handed() {
		if e.Source == source {
			sum += len(e.Data)
		}
	}
	return sum
}

// A source that sends the same second again and again is held back when it has sent 8 MiB,
// and listed; another one of the berth is not. A plan of 3 lines lets it have 14 KiB a
// second, so that the batch in hand waits for as much as 14 s.
func TestFloodIsHeldBack(t *testing.T) {
	r := newRig(t, nil)
	bow, _ := r.open("bow")
	size := len(dense(1, noon-second))
	enough := savedUp/(size+256) + 1
	for i := range enough {
		bow.batch(dense(uint64(i+1), noon-second))
	}
	before := time.Unix(0, noon-1)
	waittest.True(t, "the flood to be listed", func() bool { return len(r.server.Floods(before)) > 0 })
	stern, _ := r.open("stern")
	stern.batch(block(1, "2", noon-second, noon))
	stern.until(1)
	if got := r.journal.bytesOf("bow"); got > savedUp || got < savedUp-2*size {
		t.Errorf("%d bytes of the flood were taken, want some less than %d", got, savedUp)
	}
	f := r.server.Floods(before)
	if len(f) != 1 || f[0].Berth != berth || f[0].Source != "bow" || f[0].Since.UnixNano() != noon || !f[0].Until.After(f[0].Since) {
		t.Errorf("floods: %+v", f)
	}
	if later := r.server.Floods(f[0].Until); later != nil {
		t.Errorf("listed when it is over: %+v", later)
	}
}

// One that loses its connection while it waits, and sends the same batch on the next, waits
// no longer for that: else one that connects again sooner than it is served never would be.
func TestConnectingAgainIsNoMoreFlood(t *testing.T) {
	var passed atomic.Int64
	now := func() time.Time { return time.Unix(0, noon+passed.Load()) }
	r := newRig(t, func(o *intake.Options) { o.Now = now })
	enough := uint64(savedUp/(len(dense(1, noon-second))+256) + 1)
	var waits []time.Time
	for range 3 {
		passed.Add(second)
		bow, last := r.open("bow")
		for n := last + 1; n <= enough; n++ {
			bow.batch(dense(n, noon-second))
		}
		waittest.True(t, "the last to wait", func() bool {
			h := r.server.Heard()
			return len(r.server.Floods(now())) == 1 && len(h) == 1 && h[0].Last.Equal(now())
		})
		waits = append(waits, r.server.Floods(now())[0].Until)
		bow.cancel()
	}
	if later := waits[2].Sub(waits[0]); later > time.Second {
		t.Errorf("after two connections lost it waits %s longer", later)
	}
}

// As much of the past is let through as it comes: an hour's readings in each batch.
func TestCatchingUpIsNoFlood(t *testing.T) {
	r := newRig(t, nil)
	bow, _ := r.open("bow")
	const batches = 60
	sent := 0
	for i := range int64(batches) {
		data := dense(uint64(i+1), noon-(batches-i)*3600*second)
		sent += len(data)
		bow.batch(data)
	}
	bow.until(batches)
	if sent < savedUp+savedUp/4 {
		t.Errorf("story: only %d bytes were sent", sent)
	}
	if f := r.server.Floods(time.Unix(0, 0)); f != nil {
		t.Errorf("floods: %+v", f)
	}
}
