//go:build linux

// What a process takes is read from /proc.

package main

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/edge"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
	"hawser/ingest/store/tsdb"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
	"hawser/services/watch"
)

// The load of the benchmarks: 50 berths of 16 lines, tension at 10 Hz in steps
// of 0.1 kN, pay-out and brake at 1 Hz, in batches of one second.
const (
	benchBerths  = 50
	benchLines   = 16
	benchSeconds = 600
)

var benchStart = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// benchPlan is a plan of 16 lines for berth number i.
func benchPlan(tb testing.TB, i int) *hawserv1.MooringPlan {
	tb.Helper()
	_, m, err := planfile.Load(planFile("tanker-12"))
	if err != nil {
		tb.Fatal(err)
	}
	m.Berth, m.Ship.Name = fmt.Sprintf("bench-%02d", i), fmt.Sprintf("Bench %02d", i)
	for n := len(m.Lines); n < benchLines; n++ {
		m.Lines = append(m.Lines, proto.CloneOf(m.Lines[n-len(m.Lines)/2]))
	}
	for n, l := range m.Lines {
		l.Id = strconv.Itoa(n + 1)
	}
	return m
}

// BenchmarkPath sends ten minutes of the load to a server in a process of its
// own, as fast as it takes them, and waits until all of it is on disk, detected
// on and stored. CPU is the server's, from its start to then.
func BenchmarkPath(b *testing.B) {
	for range b.N {
		data := b.TempDir()
		s := startServe(b, data)
		began := time.Now()
		sendLoad(b, s, 0, benchSeconds)
		samples := float64(benchBerths * benchSeconds * benchLines * 12)
		// Seldom: each look at the metrics is work for the server too.
		waittest.Every(b, time.Second, "everything to be stored and detected on", func() error {
			body, err := s.get("/metrics")
			if err != nil {
				return err
			}
			stored, detected := total(b, body, "hawser_store_readings_total"), total(b, body, "hawser_watch_samples_total")
			if stored < samples || detected < samples {
				return fmt.Errorf("%g stored and %g detected on of %g readings", stored, detected, samples)
			}
			return nil
		})
		took, cpu := time.Since(began), cpuOf(b, s.cmd.Process.Pid)
		b.ReportMetric(samples/cpu.Seconds(), "samples/cpu-s")
		b.ReportMetric(samples/took.Seconds(), "samples/s")
		b.ReportMetric(s.metric("go_memstats_mallocs_total")/samples, "allocs/sample")
		b.ReportMetric(s.metric("process_resident_memory_bytes")/1e6, "MB-resident")
		if _, err := s.stop(); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(sizeOf(b, filepath.Join(data, "journal"))/samples, "journal-B/sample")
		b.ReportMetric(sizeOf(b, filepath.Join(data, "store"))/samples, "store-B/sample")
	}
}

// BenchmarkAlarmDelay sends the load at its own pace, with one berth's line put
// over its limit now and then, and gives the delays from journal to alarm on
// record.
func BenchmarkAlarmDelay(b *testing.B) {
	for range b.N {
		s := startServe(b, b.TempDir(), "--clock-tolerance", "10m")
		sendLoad(b, s, 1, 30)
		b.ReportMetric(1e3*s.quantile("hawser_watch_block_delay_seconds", 0.50), "ms-block-p50")
		b.ReportMetric(1e3*s.quantile("hawser_watch_block_delay_seconds", 0.99), "ms-block-p99")
		b.ReportMetric(1e3*s.quantile("hawser_watch_alarm_delay_seconds", 0.99), "ms-alarm-p99")
		b.ReportMetric(s.metric("hawser_watch_alarm_delay_seconds_count"), "alarms")
		b.ReportMetric(1e3*s.quantile("hawser_intake_receipt_delay_seconds", 0.99), "ms-receipt-p99")
	}
}

// BenchmarkWatchers sends the load at its own pace with lines put over their
// limits, while 80 watch the alarms and 20 more have asked to and never read, and
// gives the delay from an alarm's record to the watchers.
func BenchmarkWatchers(b *testing.B) {
	const watching, stalled = 80, 20
	for range b.N {
		s := startServe(b, b.TempDir(), "--clock-tolerance", "10m")
		ctx, stop := context.WithCancel(b.Context())
		var delays [watching][]time.Duration
		var last [watching]atomic.Uint64
		var g errgroup.Group
		for i := range watching + stalled {
			stream, err := hawserv1.NewAlarmServiceClient(s.dial()).WatchAlarms(ctx, &hawserv1.WatchAlarmsRequest{})
			if err != nil {
				b.Fatal(err)
			}
			if i >= watching {
				continue
			}
			g.Go(func() error {
				for {
					res, err := stream.Recv()
					if err != nil {
						return nil // the end of the watch
					}
					delays[i] = append(delays[i], time.Since(res.Record.RecordedAt.AsTime()))
					last[i].Store(res.Record.Position)
				}
			})
		}
		sendLoad(b, s, 1, 30)
		list, err := hawserv1.NewAlarmServiceClient(s.dial()).ListAlarms(b.Context(), &hawserv1.ListAlarmsRequest{})
		if err != nil {
			b.Fatal(err)
		}
		waittest.Until(b, "every watcher to have every alarm", func() error {
			for i := range last {
				if at := last[i].Load(); at < list.Position {
					return fmt.Errorf("watcher %d is at %d of %d", i, at, list.Position)
				}
			}
			return nil
		})
		stop()
		_ = g.Wait()
		all := slices.Concat(delays[:]...)
		slices.Sort(all)
		b.ReportMetric(float64(len(all)), "records-received")
		b.ReportMetric(1e3*all[len(all)/2].Seconds(), "ms-watcher-p50")
		b.ReportMetric(1e3*all[len(all)*99/100].Seconds(), "ms-watcher-p99")
	}
}

// sendLoad sends every berth's load by a stream of its own. At a pace the load
// is dated now and each berth has a line over its limit from its tenth second.
func sendLoad(tb testing.TB, s *server, pace float64, seconds int) {
	tb.Helper()
	start := benchStart
	if pace > 0 {
		start = time.Now().Truncate(time.Second)
	}
	var g errgroup.Group
	for i, load := range simulate.Fleet(benchBerths, benchLines, 1, start) {
		plan, conn, n := benchPlan(tb, i), s.dial(), 0
		g.Go(func() error {
			sum, err := edge.Send(tb.Context(), conn, func() (*reading.Block, error) {
				if n++; n > seconds {
					return nil, io.EOF
				}
				block := load.Next()
				if pace > 0 && n > 10+i%10 {
					overload(block)
				}
				return block, nil
			}, edge.Options{Berth: plan.Berth, Source: "bench", Plan: plan, Pace: pace})
			if err == nil && sum.RefusedBatches+sum.RefusedColumns > 0 {
				err = fmt.Errorf("refused: %v", sum.Refusals)
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		tb.Fatal(err)
	}
}

// overload raises a line's tension over any limit.
func overload(b *reading.Block) {
	for i := range b.Series {
		s := &b.Series[i]
		if s.Channel == (reading.Channel{Line: "5", Kind: reading.Tension}) {
			for j := range s.Value {
				s.Value[j] = math.Round(10*(400+s.Value[j]/10)) / 10
			}
		}
	}
}

// total adds up a metric over all its series.
func total(tb testing.TB, body, name string) (sum float64) {
	tb.Helper()
	for line := range strings.Lines(body) {
		if series, value, ok := strings.Cut(strings.TrimSpace(line), " "); ok && (series == name || strings.HasPrefix(series, name+"{")) {
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				tb.Fatal(err)
			}
			sum += v
		}
	}
	return sum
}

// quantile reads a quantile off a histogram of the server, the upper edge of
// its bucket.
func (s *server) quantile(name string, q float64) float64 {
	s.t.Helper()
	body, err := s.get("/metrics")
	if err != nil {
		s.t.Fatal(err)
	}
	count := s.metric(name + "_count")
	for line := range strings.Lines(body) {
		rest, ok := strings.CutPrefix(line, name+`_bucket{le="`)
		if !ok {
			continue
		}
		edgeText, n, _ := strings.Cut(strings.TrimSpace(rest), `"} `)
		in, err := strconv.ParseFloat(n, 64)
		if err != nil {
			s.t.Fatal(err)
		}
		if in >= q*count {
			edge, err := strconv.ParseFloat(edgeText, 64)
			if err != nil {
				s.t.Fatal(err)
			}
			return edge
		}
	}
	s.t.Fatalf("no histogram %s", name)
	return 0
}

// cpuOf is the user and system time a process has taken.
func cpuOf(tb testing.TB, pid int) time.Duration {
	tb.Helper()
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		tb.Fatal(err)
	}
	fields := strings.Fields(string(data[strings.LastIndexByte(string(data), ')')+1:]))
	var ticks int64
	for _, f := range fields[11:13] { // utime, stime of proc(5)
		n, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			tb.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond // clock ticks are 100 a second on Linux
}

// ownCPU is what this process has taken.
func ownCPU() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// sizeOf is the disk blocks a folder takes, bytes.
func sizeOf(tb testing.TB, dir string) float64 {
	tb.Helper()
	var blocks int64
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		blocks += info.Sys().(*syscall.Stat_t).Blocks
		return nil
	})
	if err != nil {
		tb.Fatal(err)
	}
	return float64(512 * blocks)
}

// BenchmarkStage gives each stage's cost by itself, on the same load, in this
// process: the parts of BenchmarkPath.
func BenchmarkStage(b *testing.B) {
	const seconds = 60
	encoded := make([][]byte, 0, benchBerths*seconds)
	fleet := simulate.Fleet(benchBerths, benchLines, 1, benchStart)
	for second := range seconds {
		for _, load := range fleet {
			block := load.Next()
			block.Sequence = uint64(second + 1)
			p, err := batch.Append(nil, block)
			if err != nil {
				b.Fatal(err)
			}
			encoded = append(encoded, p)
		}
	}
	samples := float64(benchBerths * seconds * benchLines * 12)
	stage := func(name string, setup func(*testing.B) func(i int, p []byte)) {
		b.Run(name, func(b *testing.B) {
			for range b.N {
				do := setup(b)
				before := ownCPU()
				for i, p := range encoded {
					do(i, p)
				}
				do(len(encoded), nil)
				b.ReportMetric(samples/(ownCPU()-before).Seconds(), "samples/cpu-s")
			}
		})
	}
	decode := func(b *testing.B, d *batch.Decoder, p []byte) *reading.Block {
		block, _, err := d.Decode(p)
		if err != nil {
			b.Fatal(err)
		}
		return block
	}
	stage("decode", func(b *testing.B) func(int, []byte) {
		var d batch.Decoder
		return func(_ int, p []byte) {
			if p != nil {
				decode(b, &d, p)
			}
		}
	})
	stage("decode-detect", func(b *testing.B) func(int, []byte) {
		units := make([]*watch.Unit, benchBerths)
		for i := range units {
			plan, err := planfile.FromProto(benchPlan(b, i))
			if err != nil {
				b.Fatal(err)
			}
			units[i] = watch.NewUnit(plan)
		}
		var d batch.Decoder
		return func(i int, p []byte) {
			if p != nil {
				units[i%benchBerths].Take("bench", decode(b, &d, p))
			}
		}
	})
	stage("decode-store", func(b *testing.B) func(int, []byte) {
		db, err := tsdb.Open(tsdb.Options{Dir: b.TempDir()})
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = db.Close() })
		var d batch.Decoder
		return func(i int, p []byte) {
			if p == nil {
				return
			}
			if err := db.Append(b.Context(), fmt.Sprintf("bench-%02d", i%benchBerths), decode(b, &d, p)); err != nil {
				b.Fatal(err)
			}
		}
	})
	stage("journal", func(b *testing.B) func(int, []byte) {
		j, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = j.Close() })
		var last intake.Pending
		return func(i int, p []byte) {
			if p == nil {
				if _, err := last.Wait(b.Context()); err != nil {
					b.Fatal(err)
				}
				return
			}
			last, err = j.Append(b.Context(), &journal.Entry{
				Berth: fmt.Sprintf("bench-%02d", i%benchBerths), Source: "bench",
				SourceSequence: uint64(i/benchBerths + 1), Plan: "0123456789abcdef", Data: p,
			})
			if err != nil {
				b.Fatal(err)
			}
		}
	})
}
