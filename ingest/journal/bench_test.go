package journal_test

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hawser/ingest/journal"
	"hawser/ingest/store/storetest"
)

// Figures are of the whole process, server and client, with 4,096 incompressible
// bytes an entry, the default durability and the sources of 50 berths:
//
//	go test -run '^$' -bench . -benchtime 60000x ./ingest/journal

func openBench(b *testing.B) *journal.Journal {
	j, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
	must(b, err)
	b.Cleanup(func() { j.Close() })
	return j
}

const benchBerths = 50

// fill appends n entries, of the berths in turn, each berth's from sequence
// from+1 on, and waits for them.
func fill(b *testing.B, j *journal.Journal, n int, from uint64, each func(i int, p *journal.Pending)) {
	e := &journal.Entry{Source: "gw", Plan: "0123456789abcdef", Data: make([]byte, 4096)}
	rand.Read(e.Data)
	var last *journal.Pending
	for i := range n {
		e.Berth, e.SourceSequence = fmt.Sprint("b", i%benchBerths), from+uint64(i/benchBerths)+1
		p, err := j.Append(b.Context(), e)
		must(b, err)
		if each != nil {
			each(i, p)
		}
		last = p
	}
	if _, err := last.Wait(b.Context()); err != nil {
		b.Fatal(err)
	}
}

// report gives entries per second and per second of CPU.
func report(b *testing.B, n int, cpu time.Duration) {
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "entries/s")
	b.ReportMetric(float64(n)/cpu.Seconds(), "entries/cpu-s")
	b.ReportMetric(0, "ns/op")
}

func BenchmarkAppend(b *testing.B) {
	j := openBench(b)
	cpu := storetest.CPU()
	b.ResetTimer()
	fill(b, j, b.N, 0, nil)
	b.StopTimer()
	report(b, b.N, storetest.CPU()-cpu)
	if _, last, err := j.Bounds(b.Context()); int(last) != b.N || err != nil {
		b.Fatalf("%d stored, %v", last, err)
	}
}

// BenchmarkReceipt paces 2,000 entries a second, from the call of Append to
// Wait's return.
func BenchmarkReceipt(b *testing.B) {
	j := openBench(b)
	took := make([]time.Duration, b.N)
	var wg sync.WaitGroup
	cpu := storetest.CPU()
	b.ResetTimer()
	began, called := time.Now(), time.Now()
	fill(b, j, b.N, 0, func(i int, p *journal.Pending) {
		from := called
		wg.Go(func() {
			if _, err := p.Wait(context.Background()); err != nil {
				b.Error(err)
			}
			took[i] = time.Since(from)
		})
		time.Sleep(time.Until(began.Add(time.Duration(i+1) * 500 * time.Microsecond)))
		called = time.Now()
	})
	wg.Wait()
	b.StopTimer()
	report(b, b.N, storetest.CPU()-cpu)
	slices.Sort(took)
	b.ReportMetric(took[b.N/2].Seconds()*1e3, "p50-ms")
	b.ReportMetric(took[b.N*99/100].Seconds()*1e3, "p99-ms")
	b.ReportMetric(took[b.N-1].Seconds()*1e3, "max-ms")
}

func BenchmarkFollow(b *testing.B) {
	j := openBench(b)
	fill(b, j, b.N, 0, nil)
	cpu := storetest.CPU()
	b.ResetTimer()
	n := 0
	err := j.Follow(b.Context(), journal.FollowOptions{}, func(*journal.Entry) error {
		if n++; n == b.N {
			return errEnough
		}
		return nil
	})
	b.StopTimer()
	if !errors.Is(err, errEnough) {
		b.Fatal(err)
	}
	report(b, b.N, storetest.CPU()-cpu)
}

// followBerths follows every berth on its own until all entries came.
func followBerths(b *testing.B, j *journal.Journal, n int) {
	ctx, cancel := context.WithCancel(b.Context())
	defer cancel()
	var left atomic.Int64
	left.Store(int64(n))
	var wg sync.WaitGroup
	for i := range benchBerths {
		wg.Go(func() {
			var last uint64
			err := j.Follow(ctx, journal.FollowOptions{Reader: fmt.Sprint("watch-", i), Berth: fmt.Sprint("b", i)}, func(e *journal.Entry) error {
				if e.SourceSequence != last+1 {
					b.Errorf("%s: %d after %d", e.Berth, e.SourceSequence, last)
				}
				last = e.SourceSequence
				if left.Add(-1) == 0 {
					cancel()
				}
				return nil
			})
			if !errors.Is(err, context.Canceled) {
				b.Error(err)
			}
		})
	}
	wg.Wait()
}

func BenchmarkFollowFiftyBehind(b *testing.B) {
	j := openBench(b)
	fill(b, j, b.N, 0, nil)
	cpu := storetest.CPU()
	b.ResetTimer()
	followBerths(b, j, b.N)
	b.StopTimer()
	report(b, b.N, storetest.CPU()-cpu)
}

// BenchmarkFollowFiftyLive is 50 followers of 50 entries a second each, appended
// in the same process; share is of one core.
func BenchmarkFollowFiftyLive(b *testing.B) {
	j := openBench(b)
	cpu := storetest.CPU()
	b.ResetTimer()
	var wg sync.WaitGroup
	wg.Go(func() { followBerths(b, j, b.N) })
	began := time.Now()
	fill(b, j, b.N, 0, func(i int, _ *journal.Pending) {
		time.Sleep(time.Until(began.Add(time.Duration(i+1) * 400 * time.Microsecond)))
	})
	wg.Wait()
	b.StopTimer()
	report(b, b.N, storetest.CPU()-cpu)
	b.ReportMetric((storetest.CPU()-cpu).Seconds()/b.Elapsed().Seconds(), "share")
}

func BenchmarkAppendAndFollow(b *testing.B) {
	j := openBench(b)
	cpu := storetest.CPU()
	b.ResetTimer()
	var wg sync.WaitGroup
	wg.Go(func() { followBerths(b, j, b.N) })
	fill(b, j, b.N, 0, nil)
	wg.Wait()
	b.StopTimer()
	report(b, b.N, storetest.CPU()-cpu)
}
