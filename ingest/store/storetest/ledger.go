package storetest

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Ledger is what has been sent, berth by berth and channel by channel: the first
// number for each time. What a store gives back is held against it.
type Ledger struct {
	berths map[string]map[reading.Channel]map[int64]float64
}

// Note writes down a block's good and late readings.
func (l *Ledger) Note(berth string, b *reading.Block) {
	if l.berths == nil {
		l.berths = make(map[string]map[reading.Channel]map[int64]float64)
	}
	channels := l.berths[berth]
	if channels == nil {
		channels = make(map[reading.Channel]map[int64]float64)
		l.berths[berth] = channels
	}
	for i := range b.Series {
		s := &b.Series[i]
		if channels[s.Channel] == nil {
			channels[s.Channel] = make(map[int64]float64)
		}
		for j, t := range s.Time {
			if _, ok := channels[s.Channel][t]; !ok && s.QualityAt(j) != reading.Bad {
				channels[s.Channel][t] = s.Value[j]
			}
		}
	}
}

// Sum is the count and checksum of one channel's readings: of their times and of
// the bits of their values, in order of time.
func sum(times []int64, value func(i int) float64) string {
	h := fnv.New64a()
	var b [16]byte
	for i, t := range times {
		binary.LittleEndian.PutUint64(b[:8], uint64(t))
		binary.LittleEndian.PutUint64(b[8:], math.Float64bits(value(i)))
		h.Write(b[:])
	}
	return fmt.Sprintf("%d readings, checksum %016x", len(times), h.Sum64())
}

// Check reads every channel of every berth back and fails the test for each that
// does not hold every reading sent, bit for bit, exactly once.
func (l *Ledger) Check(t *testing.T, s store.Store) {
	t.Helper()
	for berth, channels := range l.berths {
		got := make(map[reading.Channel]string)
		for c := range channels {
			results, err := s.Query(t.Context(), store.Query{
				Berth: berth, Channel: c, From: Start.Add(-24 * time.Hour), To: Start.Add(240 * time.Hour),
				MaxPoints: 10_000_000,
			})
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range results {
				got[r.Channel] = sum(r.Time, func(i int) float64 { return r.Value[i] })
			}
		}
		var wrong []string
		for c, readings := range channels {
			times := slices.Sorted(maps.Keys(readings))
			want := sum(times, func(i int) float64 { return readings[times[i]] })
			if len(times) > 0 && got[c] != want {
				wrong = append(wrong, fmt.Sprintf("%s: stored %s, sent %s", c, got[c], want))
			}
		}
		if len(wrong) > 0 {
			slices.Sort(wrong)
			t.Errorf("berth %s:\n%s", berth, strings.Join(wrong[:min(8, len(wrong))], "\n"))
		}
	}
}
