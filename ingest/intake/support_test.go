package intake_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	berth  = "jetty-2"
	second = int64(time.Second)
)

// noon is when the tests' readings and the tests' server are, Unix nanoseconds.
var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC).UnixNano()

// plan is two lines with load pins, "1" and "2", and one without, "bare".
func plan(ship string) *hawserv1.MooringPlan {
	line := func(id string, x float64) *hawserv1.Line {
		return &hawserv1.Line{
			Id: id, Group: hawserv1.LineGroup_LINE_GROUP_FWD_BREAST, Material: hawserv1.Material_MATERIAL_HMPE,
			Fairlead: []float64{x, 5, 20}, Hook: []float64{x, -30, 5}, InboardM: 10, DiameterMm: 40, MblKn: 1000,
			PretensionKn: 100, MadeFast: hawserv1.MadeFast_MADE_FAST_BITTS,
		}
	}
	bare := line("bare", 70)
	bare.Instrumented = proto.Bool(false)
	return &hawserv1.MooringPlan{
		Berth: berth, BerthHeadingDeg: 90,
		Ship:      &hawserv1.Ship{Name: ship, LoaM: 200, BeamM: 32, DisplacementT: 50000, SideWindageM2: 3000, EndWindageM2: 900},
		Reference: &hawserv1.Reference{DraftFwdM: 8, DraftAftM: 8, WaterLevelM: 2},
		Lines:     []*hawserv1.Line{line("1", 50), line("2", 60), bare},
	}
}

// documents keeps a planbook's documents in memory.
type documents struct{ data sync.Map }

func (d *documents) Put(_ context.Context, bucket, key string, data []byte) error {
	d.data.Store(bucket+"/"+key, data)
	return nil
}

func (d *documents) Get(_ context.Context, bucket, key string) ([]byte, bool, error) {
	data, ok := d.data.Load(bucket + "/" + key)
	if !ok {
		return nil, false, nil
	}
	return data.([]byte), true, nil
}

func (*documents) Keys(context.Context, string) ([]string, error) { return nil, nil }

func newBook(t testing.TB, plans ...*hawserv1.MooringPlan) *planbook.Book {
	t.Helper()
	book, err := planbook.Open(t.Context(), &documents{}, nil)
	must(t, err)
	for _, p := range plans {
		if _, err := book.Put(t.Context(), p, planbook.Terms{}); err != nil {
			t.Fatal(err)
		}
	}
	return book
}

// memory is a journal in memory. While it is stalled nothing gets to disk; once
// broken nothing more does.
type memory struct {
	mu      sync.Mutex
	before  []journal.Entry // from before the server started
	entries []journal.Entry // handed over
	stored  int             // of them, on disk
	stalled bool
	broken  error
	panics  bool
	ctx     context.Context // of the last Append
	asked   bool            // for a last sequence while a batch of the source was on its way
	changed chan struct{}   // closed and made anew at each change
}

func newMemory() *memory { return &memory{changed: make(chan struct{})} }

func (m *memory) change(f func()) {
	m.mu.Lock()
	defer m.mu.Unlock()
	f()
	if !m.stalled && m.broken == nil {
		m.stored = len(m.entries)
	}
	close(m.changed)
	m.changed = make(chan struct{})
}

func (m *memory) stall(on bool)   { m.change(func() { m.stalled = on }) }
func (m *memory) fail(err error)  { m.change(func() { m.broken = err }) }
func (m *memory) store(count int) { m.change(func() { m.stored = count }) }

func (m *memory) Append(ctx context.Context, e *journal.Entry) (intake.Pending, error) {
	p := &pending{m: m}
	m.change(func() {
		m.ctx = ctx
		if m.panics {
			panic("broken invariant")
		}
		m.entries = append(m.entries, *e)
		p.index, p.broken = len(m.entries)-1, m.broken
	})
	return p, nil
}

func (m *memory) LastSequence(_ context.Context, berth, source string) (uint64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var last uint64
	for i, e := range m.entries {
		switch {
		case e.Berth != berth || e.Source != source:
		case i < m.stored:
			last = e.SourceSequence
		case m.broken == nil:
			m.asked = true
		}
	}
	return last, nil
}

// Newest is the newest entry of each source that was on disk when the test began.
func (m *memory) Newest(context.Context, string) ([]journal.Entry, error) { return m.before, nil }

func (m *memory) handed() []journal.Entry {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.entries[:len(m.entries):len(m.entries)]
}

type pending struct {
	m      *memory
	index  int
	broken error // the journal was as this was handed over
}

func (p *pending) Wait(ctx context.Context) (journal.Position, error) {
	for {
		p.m.mu.Lock()
		stored, broken, changed := p.m.stored > p.index, cmp.Or(p.broken, p.m.broken), p.m.changed
		p.m.mu.Unlock()
		switch {
		case stored:
			return journal.Position(p.index + 1), nil
		case broken != nil:
			return 0, broken
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return 0, ctx.Err()
		}
	}
}

// rig is an intake on a loopback port and a connection to it.
type rig struct {
	t       testing.TB
	journal *memory
	book    *planbook.Book
	server  *intake.Server
	client  hawserv1.IntakeServiceClient
}

// newRig serves until the test ends. The berth is under a plan of "Heron".
func newRig(t testing.TB, change func(*intake.Options)) *rig {
	t.Helper()
	r := &rig{t: t, journal: newMemory(), book: newBook(t, plan("Heron"))}
	o := intake.Options{
		Journal: r.journal, Plans: r.book, Validator: protovalidate.GlobalValidator,
		Now: func() time.Time { return time.Unix(0, noon) },
	}
	if change != nil {
		change(&o)
	}
	var err error
	if r.server, err = intake.New(o); err != nil {
		t.Fatal(err)
	}
	gs := grpc.NewServer()
	hawserv1.RegisterIntakeServiceServer(gs, r.server)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	served := make(chan error, 1)
	go func() { served <- gs.Serve(listener) }()
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	must(t, err)
	r.client = hawserv1.NewIntakeServiceClient(conn)
	t.Cleanup(func() {
		conn.Close()
		r.journal.stall(false)
		if err := r.server.Drain(context.Background()); err != nil {
			t.Error(err)
		}
		gs.Stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	return r
}

// taken waits until so many batches are handed to the journal.
func (r *rig) taken(batches int) {
	r.t.Helper()
	waittest.True(r.t, fmt.Sprint(batches, " batches to be handed over"), func() bool { return len(r.journal.handed()) == batches })
}

// wire is a stream as a source has it.
type wire struct {
	t testing.TB
	grpc.BidiStreamingClient[hawserv1.DeliverRequest, hawserv1.DeliverResponse]
	cancel context.CancelFunc
}

func (r *rig) wire() *wire {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(r.t.Context(), 20*time.Second)
	r.t.Cleanup(cancel)
	s, err := r.client.Deliver(ctx)
	if err != nil {
		r.t.Fatal(err)
	}
	return &wire{r.t, s, cancel}
}

// open is a stream past its Welcome, and the sequence that said.
func (r *rig) open(source string) (*wire, uint64) {
	r.t.Helper()
	w := r.hello(&hawserv1.Hello{Berth: berth, Source: source})
	return w, w.welcome().GetDurableSequence()
}

// hello is a stream that has said who it is, and has no answer yet.
func (r *rig) hello(h *hawserv1.Hello) *wire {
	r.t.Helper()
	w := r.wire()
	w.frame(helloFrame(h))
	return w
}

// welcome wants the next frame to be one.
func (w *wire) welcome() *hawserv1.Welcome {
	w.t.Helper()
	resp := w.next()
	if resp.GetWelcome() == nil {
		w.t.Fatalf("got %v, want a welcome", resp)
	}
	return resp.GetWelcome()
}

func (w *wire) batch(data []byte) {
	w.t.Helper()
	w.frame(batchFrame(data))
}

func helloFrame(h *hawserv1.Hello) *hawserv1.DeliverRequest {
	return &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{Hello: h}}
}

func batchFrame(data []byte) *hawserv1.DeliverRequest {
	return &hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Batch{Batch: data}}
}

func (w *wire) frame(req *hawserv1.DeliverRequest) {
	w.t.Helper()
	if err := w.Send(req); err != nil && !errors.Is(err, io.EOF) {
		w.t.Fatal(err)
	}
}

func (w *wire) next() *hawserv1.DeliverResponse {
	w.t.Helper()
	resp, err := w.Recv()
	if err != nil {
		w.t.Fatal(err)
	}
	return resp
}

// until gives the receipts up to the one for the sequence, summed.
func (w *wire) until(sequence uint64) (*hawserv1.Oddities, int) {
	w.t.Helper()
	sum := &hawserv1.Oddities{}
	for n := 1; ; n++ {
		r := w.next().GetReceipt()
		if r == nil {
			w.t.Fatal("got a frame that is no receipt")
		}
		o := r.GetOddities()
		sum.Late += o.GetLate()
		sum.Duplicate += o.GetDuplicate()
		sum.OutOfOrder += o.GetOutOfOrder()
		sum.Bad += o.GetBad()
		sum.RepeatedBatches += o.GetRepeatedBatches()
		if r.GetDurableSequence() > sequence {
			w.t.Fatalf("receipt for %d, want at most %d", r.GetDurableSequence(), sequence)
		}
		if r.GetDurableSequence() == sequence {
			return sum, n
		}
	}
}

// ends reads until the stream ends and gives its status.
func (w *wire) ends() *status.Status {
	w.t.Helper()
	for {
		if _, err := w.Recv(); err != nil {
			if errors.Is(err, io.EOF) {
				return status.New(0, "")
			}
			return status.Convert(err)
		}
	}
}

// endsWith reads until the stream ends and checks how; "" is any text.
func (w *wire) endsWith(code codes.Code, text string) {
	w.t.Helper()
	if st := w.ends(); st.Code() != code || text != "" && st.Message() != text {
		w.t.Errorf("ended with %v %q, want %v %q", st.Code(), st.Message(), code, text)
	}
}

// reasonAndFields are what a status says to programs: the ErrorInfo's reason and
// each violation's field and reason.
func reasonAndFields(st *status.Status) string {
	out := ""
	for _, detail := range st.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			out += d.GetReason()
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				out += fmt.Sprintf("; %s %s", v.GetField(), v.GetReason())
			}
		}
	}
	return out
}

// block is a batch of one good tension reading a column, at the given times.
func block(sequence uint64, line string, times ...int64) []byte {
	return encode(&reading.Block{Sequence: sequence, Series: []reading.Series{series(line, times...)}})
}

func series(line string, times ...int64) reading.Series {
	s := reading.Series{Channel: reading.Channel{Line: line, Kind: reading.Tension}, Time: times, Decimals: 1}
	for i := range times {
		s.Value = append(s.Value, 100+float64(i))
	}
	return s
}

func encode(b *reading.Block) []byte {
	data, err := batch.Append(nil, b)
	if err != nil {
		panic(err)
	}
	return data
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
