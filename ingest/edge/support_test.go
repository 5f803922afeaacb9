package edge_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/edge"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	hawserv1 "hawser/proto/hawser/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	berth  = "jetty-2"
	second = int64(time.Second)
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC).UnixNano()

// plan is a ship on lines "1" to "60".
func plan() *hawserv1.MooringPlan {
	p := &hawserv1.MooringPlan{
		Berth: berth, BerthHeadingDeg: 90,
		Ship:      &hawserv1.Ship{Name: "Heron", LoaM: 200, BeamM: 32, DisplacementT: 50000, SideWindageM2: 3000, EndWindageM2: 900},
		Reference: &hawserv1.Reference{DraftFwdM: 8, DraftAftM: 8, WaterLevelM: 2},
	}
	for i := range 60 {
		x := float64(i)
		p.Lines = append(p.Lines, &hawserv1.Line{
			Id: fmt.Sprint(i + 1), Group: hawserv1.LineGroup_LINE_GROUP_FWD_BREAST, Material: hawserv1.Material_MATERIAL_HMPE,
			Fairlead: []float64{x, 5, 20}, Hook: []float64{x, -30, 5}, InboardM: 10, DiameterMm: 40, MblKn: 1000,
			PretensionKn: 100, MadeFast: hawserv1.MadeFast_MADE_FAST_BITTS,
		})
	}
	return p
}

// recording yields n blocks of a second, each of some lines at 10 Hz. What line l
// reads in block s at sample i is told by value.
func recording(n, lines int) func() (*reading.Block, error) {
	var b reading.Block
	b.Series = make([]reading.Series, lines)
	for l := range b.Series {
		b.Series[l] = reading.Series{Channel: reading.Channel{Line: fmt.Sprint(l + 1), Kind: reading.Tension},
			Time: make([]int64, 10), Value: make([]float64, 10), Decimals: 1}
	}
	return func() (*reading.Block, error) {
		if b.Sequence == uint64(n) {
			return nil, io.EOF
		}
		b.Sequence++
		start := noon + int64(b.Sequence)*second
		b.CompleteUntil = start + second - 1
		for l := range b.Series {
			for i := range 10 {
				b.Series[l].Time[i] = start + int64(i)*second/10
				b.Series[l].Value[i] = value(b.Sequence, l, i)
			}
		}
		return &b, nil
	}
}

func value(sequence uint64, line, sample int) float64 {
	return float64((int(sequence)*7+line*3+sample)%5000) / 10
}

// station is an intake that listens, with the journal and the plans of a folder.
type station struct {
	t       testing.TB
	addr    string
	journal *journal.Journal
	intake  *intake.Server
	server  *grpc.Server
	served  chan error
	once    sync.Once
}

// listen serves until stop or the test's end. addr is host and port, port 0 for any;
// where in is not nil it stands between the intake and the journal.
func listen(t testing.TB, addr, dir string, in func(intake.Journal) intake.Journal) *station {
	t.Helper()
	s := &station{t: t, server: grpc.NewServer(), served: make(chan error, 1)}
	var err error
	if s.journal, err = journal.Open(t.Context(), journal.Options{Dir: dir, SyncEvery: 2 * time.Millisecond}); err != nil {
		t.Fatal(err)
	}
	book, err := planbook.Open(t.Context(), s.journal, nil)
	must(t, err)
	o := intake.Options{Journal: opened{s.journal}, Plans: book, Validator: protovalidate.GlobalValidator,
		Now: func() time.Time { return time.Unix(0, noon).AddDate(0, 0, 30) }} // after the last of many blocks
	if in != nil {
		o.Journal = in(o.Journal)
	}
	if s.intake, err = intake.New(o); err != nil {
		t.Fatal(err)
	}
	hawserv1.RegisterIntakeServiceServer(s.server, s.intake)
	listener, err := net.Listen("tcp", addr)
	must(t, err)
	s.addr = listener.Addr().String()
	go func() { s.served <- s.server.Serve(listener) }()
	t.Cleanup(s.stop)
	return s
}

// anywhere listens on any port with an empty folder.
func anywhere(t testing.TB) *station {
	t.Helper()
	return listen(t, "127.0.0.1:0", t.TempDir(), nil)
}

func (s *station) stop() {
	s.once.Do(func() {
		if err := s.intake.Drain(context.Background()); err != nil {
			s.t.Error(err)
		}
		s.server.Stop()
		if err := errors.Join(<-s.served, s.journal.Close()); err != nil {
			s.t.Error(err)
		}
	})
}

// opened is a journal as the intake takes it.
type opened struct{ *journal.Journal }

func (o opened) Append(ctx context.Context, e *journal.Entry) (intake.Pending, error) {
	p, err := o.Journal.Append(ctx, e)
	if err != nil {
		return nil, err
	}
	return p, nil
}

// entries are those of the journal.
func (s *station) entries() (all []journal.Entry) {
	s.t.Helper()
	_, last, err := s.journal.Bounds(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(s.t.Context(), 15*time.Second)
	defer cancel()
	done := errors.New("all read")
	err = s.journal.Follow(ctx, journal.FollowOptions{}, func(e *journal.Entry) error {
		if all = append(all, *e); e.Position == last {
			return done
		}
		return nil
	})
	if !errors.Is(err, done) {
		s.t.Fatal(err)
	}
	return all
}

func dial(t testing.TB, addr string) *grpc.ClientConn {
	t.Helper()
	quick := grpc.ConnectParams{MinConnectTimeout: 5 * time.Second, Backoff: backoff.Config{BaseDelay: 2 * time.Millisecond, Multiplier: 1.5, MaxDelay: 20 * time.Millisecond}}
	o := append(edge.DialOptions(), grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithConnectParams(quick))
	conn, err := grpc.NewClient(addr, o...)
	must(t, err)
	t.Cleanup(func() { conn.Close() })
	return conn
}

// options are those of the tests: quick to come back, and not for ever.
func options() edge.Options {
	o := edge.Options{Berth: berth, Source: "gw", Plan: plan(), GiveUpAfter: 20 * time.Second}
	o.Backoff(time.Millisecond, 20*time.Millisecond)
	return o
}

// flaky passes connections on to an address and cuts each after so many bytes
// from the client.
type flaky struct {
	listener net.Listener
	to       string
	cutAfter func() int64
	cuts     atomic.Int64
	wg       sync.WaitGroup

	mu   sync.Mutex
	open map[net.Conn]bool
}

func newFlaky(t testing.TB, to string, cutAfter func() int64) *flaky {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	f := &flaky{listener: listener, to: to, cutAfter: cutAfter, open: map[net.Conn]bool{}}
	f.wg.Go(f.accept)
	t.Cleanup(func() {
		listener.Close()
		f.mu.Lock()
		for c := range f.open {
			c.Close()
		}
		f.mu.Unlock()
		f.wg.Wait()
	})
	return f
}

func (f *flaky) accept() {
	for {
		client, err := f.listener.Accept()
		if err != nil {
			return
		}
		server, err := net.Dial("tcp", f.to)
		if err != nil {
			client.Close()
			continue
		}
		f.mu.Lock()
		f.open[client], f.open[server] = true, true
		f.mu.Unlock()
		limit := f.cutAfter()
		f.wg.Go(func() {
			if n, _ := io.CopyN(server, client, limit); n == limit {
				f.cuts.Add(1)
			}
			f.cut(client, server)
		})
		f.wg.Go(func() {
			io.Copy(client, server)
			f.cut(client, server)
		})
	}
}

func (f *flaky) cut(conns ...net.Conn) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, c := range conns {
		c.Close()
		delete(f.open, c)
	}
}

// has checks that the journal has n blocks of a recording of some lines, each once
// and in order, to the last sample, and gives their bytes.
func (s *station) has(n, lines int) (size int) {
	t, entries := s.t, s.entries()
	t.Helper()
	if len(entries) != n {
		t.Fatalf("%d entries journalled, want %d", len(entries), n)
	}
	var decoder batch.Decoder
	next := recording(n, lines)
	for i, e := range entries {
		size += len(e.Data)
		got, faults, err := decoder.Decode(e.Data)
		if err != nil || len(faults) != 0 || len(e.Refused) != 0 {
			t.Fatalf("entry %d: %v, faults %v, refused %v", i, err, faults, e.Refused)
		}
		want, err := next()
		must(t, err)
		if got.Sequence != want.Sequence || e.SourceSequence != want.Sequence || got.CompleteUntil != want.CompleteUntil || len(got.Series) != lines {
			t.Fatalf("entry %d has sequence %d (%d), promise %d, %d series", i, got.Sequence, e.SourceSequence, got.CompleteUntil, len(got.Series))
		}
		for l := range got.Series {
			for k := range 10 {
				if got.Series[l].Time[k] != want.Series[l].Time[k] || got.Series[l].Value[k] != want.Series[l].Value[k] {
					t.Fatalf("entry %d line %d sample %d differs", i, l+1, k)
				}
			}
		}
	}
	return size
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
