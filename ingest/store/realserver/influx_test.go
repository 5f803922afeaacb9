package realserver_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/influx"
	"hawser/ingest/store/realserver"
	"hawser/ingest/store/storetest"
	"hawser/services/waittest"
)

// influxd is the server's path.
var influxd string

func TestMain(m *testing.M) {
	if os.Getenv("HAWSER_REAL_SERVERS") != "1" {
		fmt.Println("tests against real servers run with HAWSER_REAL_SERVERS=1")
		return
	}
	dir, err := os.MkdirTemp("", "influxd")
	if err == nil {
		influxd, err = realserver.FindInfluxd(context.Background(), dir)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	goleak.VerifyTestMain(m, goleak.Cleanup(func(code int) {
		os.RemoveAll(dir)
		os.Exit(code)
	}))
}

// prepare makes a server that is not started.
func prepare(t *testing.T) *realserver.Influxd {
	t.Helper()
	server, err := realserver.NewInfluxd(influxd, t.TempDir())
	must(t, err)
	t.Cleanup(func() { _ = server.Kill() })
	return server
}

func start(t *testing.T, server *realserver.Influxd) {
	t.Helper()
	must(t, server.Start(t.Context()))
}

func kill(t *testing.T, server *realserver.Influxd) {
	t.Helper()
	must(t, server.Kill())
}

func create(t *testing.T, server *realserver.Influxd, database string) {
	t.Helper()
	must(t, server.CreateDatabase(t.Context(), database))
}

func connect(t *testing.T, server *realserver.Influxd, database string) *influx.Store {
	t.Helper()
	// It rolls up all the while.
	s, err := influx.Open(influx.Options{
		URL: server.URL, Bucket: database + "/autogen", Dir: t.TempDir(), Settle: 50 * time.Millisecond,
	})
	must(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// TestServing is what needs a server that only serves, since one takes seconds to
// start.
func TestServing(t *testing.T) {
	server := prepare(t)
	start(t, server)
	databases := 0
	open := func(t *testing.T) (string, *influx.Store) {
		databases++
		name := fmt.Sprintf("hawser%d", databases)
		create(t, server, name)
		return name, connect(t, server, name)
	}
	t.Run("suite", func(t *testing.T) {
		storetest.Run(t, func(t *testing.T) storetest.Rolling { _, s := open(t); return s })
	})
	t.Run("nanoseconds", func(t *testing.T) { _, s := open(t); nanoseconds(t, s) })
	t.Run("readings go, rolls stay", func(t *testing.T) {
		databases++
		readingsGo(t, server, fmt.Sprintf("hawser%d", databases))
	})
	t.Run("before there were rolls", func(t *testing.T) {
		databases++
		before(t, server, fmt.Sprintf("hawser%d", databases))
	})
	t.Run("refused", func(t *testing.T) { name, s := open(t); refused(t, server, name, s) })
}

// Rolls are kept by a policy of their own. Where the readings have gone, they stay,
// also when a late reading comes in; what waited to be rolled up when the process
// ended is rolled up by the next.
func readingsGo(t *testing.T, server *realserver.Influxd, database string) {
	create(t, server, database)
	statement := func(text string) {
		t.Helper()
		must(t, server.QueryIn(t.Context(), database, text))
	}
	statement(`CREATE RETENTION POLICY "years" ON "` + database + `" DURATION INF REPLICATION 1`)
	o := influx.Options{
		URL: server.URL, Bucket: database + "/autogen", RollBucket: database + "/years", Dir: t.TempDir(), Settle: time.Hour,
	}
	open := func() *influx.Store {
		t.Helper()
		s, err := influx.Open(o)
		must(t, err)
		t.Cleanup(func() { _ = s.Close() })
		return s
	}
	s := open()
	var sent storetest.Ledger
	entries := make([]store.Entry, 0, 1300)
	for _, b := range storetest.Blocks(1, 1300, 3) {
		sent.Note("jetty-1", b)
		entries = append(entries, store.Entry{Berth: "jetty-1", Block: b})
	}
	must(t, s.AppendMany(t.Context(), entries))
	s.Refill().Begun()
	must(t, s.Close())
	s = open()
	rollUp := func() {
		t.Helper()
		must(t, s.RollUp(t.Context()))
	}
	check := func() {
		t.Helper()
		sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), time.Second, 10*time.Second, time.Minute, time.Hour)
	}
	rollUp()
	// The server may leave some of a measurement that it is just writing out.
	waittest.Until(t, "the readings to be gone", func() error {
		for _, name := range []string{"tension_kilonewtons", "payout_metres", "brake_set", "wind_speed_metres_per_second"} {
			statement(`DROP MEASUREMENT "` + name + `"`)
		}
		r, err := s.Query(t.Context(), store.Query{Berth: "jetty-1", From: storetest.Start, To: storetest.Start.Add(time.Hour)})
		if err == nil && len(r) > 0 {
			err = fmt.Errorf("those of %d channels are still there", len(r))
		}
		return err
	})
	check()
	late := &reading.Block{Series: []reading.Series{{
		Channel: reading.Channel{Line: "1", Kind: reading.Tension}, Decimals: 1,
		Time: []int64{storetest.Start.UnixNano() + 5e7}, Value: []float64{999},
	}}}
	must(t, s.Append(t.Context(), "jetty-1", late))
	rollUp()
	check()
	if s.Refill().Wanted() {
		t.Error("a list that was there is told to be new")
	}
}

// A server that had readings before they were rolled up gives them in steps, and goes
// on to when they are rolled up.
func before(t *testing.T, server *realserver.Influxd, database string) {
	create(t, server, database)
	first, err := influx.Open(influx.Options{URL: server.URL, Bucket: database + "/autogen", Dir: t.TempDir(), Settle: time.Hour})
	must(t, err)
	var sent storetest.Ledger
	blocks := storetest.Blocks(1, 1500, 5)
	give := func(s *influx.Store, some []*reading.Block) {
		t.Helper()
		var entries []store.Entry
		for _, b := range some {
			sent.Note("jetty-1", b)
			entries = append(entries, store.Entry{Berth: "jetty-1", Block: b})
		}
		must(t, s.AppendMany(t.Context(), entries))
	}
	give(first, blocks[:1200])
	must(t, first.Close())
	s := connect(t, server, database)
	if !s.Refill().Wanted() {
		t.Error("a list made now is not told to be new")
	}
	give(s, blocks[1200:])
	for range 2 {
		sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), time.Second, time.Minute, time.Hour)
		must(t, s.RollUp(t.Context()))
	}
}

// What the embedded store cuts to milliseconds stays apart here.
func nanoseconds(t *testing.T, s store.Store) {
	c := reading.Channel{Line: "7", Kind: reading.Tension}
	at := storetest.Start.UnixNano()
	b := &reading.Block{Series: []reading.Series{{
		Channel: c, Decimals: 1, Time: []int64{at, at + 1, at + 999}, Value: []float64{1.5, 2.5, 3.5},
	}}}
	var sent storetest.Ledger
	sent.Note("jetty-1", b)
	must(t, s.Append(t.Context(), "jetty-1", b))
	sent.Check(t, s)
}

// Points that the server will never take are counted, the others of the batch are
// stored, and nothing is tried again.
func refused(t *testing.T, server *realserver.Influxd, database string, s store.Store) {
	// Somebody else has written the field as text: ours does not fit it there.
	if err := server.Write(t.Context(), database, `tension_kilonewtons,berth=jetty-1,line=7 value="high" `+
		fmt.Sprint(storetest.Start.UnixNano())); err != nil {
		t.Fatal(err)
	}
	at := storetest.Start.Add(time.Second).UnixNano()
	series := func(line string, kind reading.Kind) reading.Series {
		return reading.Series{
			Channel: reading.Channel{Line: line, Kind: kind}, Decimals: 1,
			Time: []int64{at, at + 1e9}, Value: []float64{1, 2},
		}
	}
	b := &reading.Block{Series: []reading.Series{
		series("6", reading.Payout), series("7", reading.Tension), series("8", reading.Payout),
	}}
	err := s.Append(t.Context(), "jetty-1", b)
	r, ok := errors.AsType[*store.Refused](err)
	if !ok || r.Count[store.Rejected] != 2 || r.Total() != 2 {
		t.Fatalf("error %v, want 2 rejected", err)
	}
	var sent storetest.Ledger
	sent.Note("jetty-1", &reading.Block{Series: []reading.Series{b.Series[0], b.Series[2]}})
	sent.Check(t, s)
}

// TestOutages: whatever happens to the server while blocks come in, afterwards it
// holds every reading sent, once.
func TestOutages(t *testing.T) {
	for _, c := range []struct {
		name string
		at   func(t *testing.T, r *run, block int)
	}{
		{name: "none"},
		{name: "down at the start", at: func(t *testing.T, r *run, block int) {
			switch block {
			case 0:
				kill(t, r.server)
			case 60:
				start(t, r.server)
			}
		}},
		{name: "killed, and down for a while", at: func(t *testing.T, r *run, block int) {
			switch block {
			case 40:
				r.stored(t, 30)
				kill(t, r.server) // with a write under way or close to it
			case 80:
				start(t, r.server)
			}
		}},
		{name: "killed and restarted, twice", at: func(t *testing.T, r *run, block int) {
			if block == 40 || block == 90 {
				r.stored(t, uint64(block-30)) // the rest under way
				kill(t, r.server)
				start(t, r.server)
			}
		}},
		{name: "database gone for a while", at: func(t *testing.T, r *run, block int) {
			switch block {
			case 0:
				if err := r.server.Query(t.Context(), "DROP DATABASE hawser"); err != nil {
					t.Error(err)
				}
			case 50:
				create(t, r.server, "hawser")
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel() // most of the time is waiting
			outage(t, c.at)
		})
	}
}

// run is a server, and blocks on their way to it.
type run struct {
	server *realserver.Influxd
	pump   *store.Pump
}

// stored waits until all up to a block is stored.
func (r *run) stored(t *testing.T, block uint64) {
	t.Helper()
	waittest.True(t, fmt.Sprintf("block %d to be stored", block), func() bool { return r.pump.Position() >= block })
}

func outage(t *testing.T, at func(*testing.T, *run, int)) {
	server := prepare(t)
	start(t, server)
	create(t, server, "hawser")
	s := connect(t, server, "hawser")
	// It has room for all the blocks: the loop below restarts the server and must not wait.
	pump := store.NewPump(s, store.PumpOptions{Log: slog.New(slog.NewTextHandler(t.Output(), nil))})
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- pump.Run(ctx) }()

	const blocks = 120
	var sent storetest.Ledger
	source := storetest.NewSource(6, 9)
	r := &run{server: server, pump: pump}
	for i := range blocks {
		b := source.Next()
		sent.Note("jetty-1", b)
		must(t, pump.Offer(ctx, uint64(i+1), "jetty-1", b))
		if at != nil {
			at(t, r, i)
		}
	}
	r.stored(t, blocks)
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	sent.Check(t, s)
	for range 2 { // from readings where spans wait, then from rolls alone
		sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), time.Second, time.Minute)
		if err := s.RollUp(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
