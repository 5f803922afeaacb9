package intake_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/intake"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

var inf = math.Inf(1)

// limited sets limits of a rig.
func limited(l intake.Limits) func(*intake.Options) { return func(o *intake.Options) { o.Limit(l) } }

// A receipt comes when the journal has the batch on disk and not before, and one
// receipt may stand for many batches.
func TestReceiptsFollowTheJournal(t *testing.T) {
	r := newRig(t, nil)
	r.journal.stall(true)
	w, durable := r.open("gw")
	if durable != 0 {
		t.Fatalf("welcome at %d, want 0", durable)
	}
	for i := uint64(1); i <= 100; i++ {
		w.batch(block(i, "1", noon+int64(i)*second/100))
	}
	r.taken(100)
	r.journal.store(40)
	w.until(40) // fails on a receipt for more
	r.journal.stall(false)
	if _, n := w.until(100); n > 30 {
		t.Errorf("%d receipts for 60 batches that came to disk at once", n)
	}
}

// A receipt does not wait for company on an idle stream, however long the pause
// between receipts is.
func TestIdleReceiptAtOnce(t *testing.T) {
	r := newRig(t, limited(intake.Limits{ReceiptEvery: time.Hour}))
	w, _ := r.open("gw")
	w.batch(block(1, "1", noon))
	w.until(1)
}

// Counted by hand; the rules are those of the schema.
func TestOddities(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	at := func(s ...int64) []int64 {
		for i := range s {
			s[i] = noon + s[i]*second
		}
		return s
	}
	tests := []struct {
		name  string
		block []reading.Series
		want  *hawserv1.Oddities
	}{
		{"in order", []reading.Series{series("1", at(-100, -99, -98)...), series("2", at(-100, -98)...)}, &hawserv1.Oddities{}},
		{"newest again", []reading.Series{series("1", at(-98, -97)...)}, &hawserv1.Oddities{Duplicate: 1}},
		{"twice in a column", []reading.Series{series("1", at(-95, -95, -94)...)}, &hawserv1.Oddities{Duplicate: 1}},
		{"back by up to 5 s", []reading.Series{series("1", at(-89, -94, -92, -88)...)}, &hawserv1.Oddities{OutOfOrder: 2}},
		{"late by the channel", []reading.Series{series("1", at(-80, -86, -79)...)}, &hawserv1.Oddities{Late: 1}},
		{"late by the berth", []reading.Series{series("2", at(-85, -84)...)}, &hawserv1.Oddities{Late: 1}},
		{"told by the source", []reading.Series{{
			Channel: reading.Channel{Kind: reading.WindSpeed}, Time: at(-78, -77, -500), Value: []float64{1, 0, 2},
			Quality: []reading.Quality{reading.Good, reading.Bad, reading.Late},
		}}, &hawserv1.Oddities{Bad: 1, Late: 1}},
	}
	for i, test := range tests {
		w.batch(encode(&reading.Block{Sequence: uint64(i + 1), Series: test.block}))
		if got, _ := w.until(uint64(i + 1)); !proto.Equal(got, test.want) {
			t.Errorf("%s: got %v, want %v", test.name, got, test.want)
		}
	}
}

// Late is against the newest reading of the berth, whoever sent it.
func TestLateAgainstOtherSource(t *testing.T) {
	r := newRig(t, nil)
	a, _ := r.open("gw-a")
	b, _ := r.open("gw-b")
	a.batch(block(1, "1", noon))
	a.until(1)
	b.batch(block(1, "2", noon-6*second, noon-4*second))
	if got, _ := b.until(1); !proto.Equal(got, &hawserv1.Oddities{Late: 1}) {
		t.Errorf("got %v, want one late", got)
	}
}

// What comes again is receipted and not journalled again.
func TestRepeatedBatches(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	for _, sequence := range []uint64{1, 2, 5, 5, 2, 6} {
		w.batch(block(sequence, "1", noon+int64(sequence)))
	}
	odd, _ := w.until(6)
	if odd.GetRepeatedBatches() != 2 {
		t.Errorf("%d repeated, want 2", odd.GetRepeatedBatches())
	}
	if n := len(r.journal.handed()); n != 4 {
		t.Errorf("%d journalled, want 4", n)
	}
	w.batch(block(6, "1", noon))
	if odd, _ := w.until(6); odd.GetRepeatedBatches() != 1 {
		t.Errorf("got %v, want a receipt for a repeated batch", odd)
	}
	w.cancel()
	again, durable := r.open("gw")
	if durable != 6 {
		t.Errorf("welcome at %d, want 6", durable)
	}
	again.batch(block(6, "1", noon))
	if odd, _ := again.until(6); odd.GetRepeatedBatches() != 1 {
		t.Errorf("got %v, want a receipt for a repeated batch", odd)
	}
}

// The newer stream of a source takes over, and is welcomed only when what the
// older one handed over is on disk.
func TestTakeover(t *testing.T) {
	r := newRig(t, nil)
	r.journal.stall(true)
	older, _ := r.open("gw")
	older.batch(block(1, "1", noon))
	r.taken(1)

	newer := r.hello(&hawserv1.Hello{Berth: berth, Source: "gw"})
	<-r.journal.ctx.Done() // the older one takes no more
	r.open("other")        // time enough for a welcome that does not wait
	r.journal.stall(false)
	older.until(1)
	older.endsWith(codes.Aborted, "berth jetty-2: source gw: a newer stream took over")
	if got := newer.welcome().GetDurableSequence(); got != 1 {
		t.Errorf("welcome at %d, want 1", got)
	}
	newer.batch(block(2, "1", noon+1))
	newer.until(2)
	r.journal.change(func() {
		if r.journal.asked {
			t.Error("the journal was asked where to go on while a batch was on its way")
		}
	})
}

// When the journal breaks the source is told to come back and gets no receipt
// for what is not on disk.
func TestJournalFails(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	w.batch(block(1, "1", noon))
	w.until(1)
	r.journal.fail(errors.New("disk is full"))
	w.batch(block(2, "1", noon+1))
	resp, err := w.Recv()
	if err == nil {
		t.Fatalf("got %v", resp)
	}
	w.endsWith(codes.Unavailable, "berth jetty-2: source gw: batch 2: journal: disk is full")
	r.journal.change(func() { r.journal.broken, r.journal.entries = nil, r.journal.entries[:1] })
	again, durable := r.open("gw")
	if durable != 1 {
		t.Errorf("welcome at %d, want 1", durable)
	}
	again.batch(block(2, "1", noon+1))
	again.until(2)
}

// A journal that keeps nothing: the stream goes on, past all room for what waits for a
// receipt, refusals are told, and no receipt is, not even of what comes again; then
// the source is made to come back.
func TestUnkeptGoesOnWithoutReceipts(t *testing.T) {
	r := newRig(t, limited(intake.Limits{InFlight: 4}))
	w, _ := r.open("gw")
	w.batch(block(1, "1", noon))
	w.until(1)
	r.journal.fail(intake.ErrUnkept)
	for sequence := uint64(2); sequence <= 20; sequence++ {
		w.batch(block(sequence, "1", noon+int64(sequence)))
	}
	w.batch(block(20, "1", noon+20))
	w.batch(encode(&reading.Block{Sequence: 21, Series: []reading.Series{series("1", noon+21), series("no-such", noon+21)}}))
	if f := w.next().GetRefusal(); f.GetSequence() != 21 || f.GetWholeBatch() {
		t.Errorf("got %v, want a refusal of a column of 21 and no receipt", f)
	}
	if n := len(r.journal.handed()); n != 21 {
		t.Errorf("%d were handed on, want 21", n)
	}
	r.server.Resume()
	w.endsWith(codes.Unavailable, "")
	if _, durable := r.open("gw"); durable != 1 {
		t.Errorf("welcome at %d, want 1", durable)
	}
}

// Two sources are made to send again what was not kept. The one that is back first
// waits for the other, so that neither is over 5 s behind in the journal; and when both
// have waited in vain for a third.
func TestSourcesComeAgainAbreast(t *testing.T) {
	t.Run("all", func(t *testing.T) { t.Parallel(); comeAgainAbreast(t, false) })
	t.Run("but one", func(t *testing.T) { t.Parallel(); comeAgainAbreast(t, true) })
}

func comeAgainAbreast(t *testing.T, butOne bool) {
	began := time.Now()
	r := newRig(t, func(o *intake.Options) {
		o.Now = func() time.Time { return time.Unix(0, noon).Add(time.Since(began)) }
	})
	if butOne {
		w, _ := r.open("spring")
		w.batch(block(1, "1", noon-61*second))
		w.until(1)
	}
	kept := len(r.journal.handed())
	sources := []string{"bow", "stern"}
	wires := map[string]*wire{}
	for i, source := range sources {
		wires[source], _ = r.open(source)
		wires[source].batch(block(1, fmt.Sprint(i+1), noon-60*second))
		wires[source].until(1)
	}
	r.journal.fail(intake.ErrUnkept)
	for i, source := range sources {
		for s := int64(2); s <= 60; s++ { // as of the present they need not wait
			wires[source].batch(block(uint64(s), fmt.Sprint(i+1), noon-second))
		}
	}
	r.taken(kept + 2 + 2*59)
	r.journal.change(func() { r.journal.broken, r.journal.entries = nil, r.journal.entries[:kept+2] })
	r.server.Resume()
	for i, source := range sources {
		wires[source].ends()
		w, durable := r.open(source)
		if durable != 1 {
			t.Fatalf("welcome at %d, want 1", durable)
		}
		wires[source] = w
		for s := int64(2); s <= 57; s++ { // to 3 s before noon
			w.batch(block(uint64(s), fmt.Sprint(i+1), noon+(s-61)*second))
		}
	}
	for _, source := range sources {
		wires[source].until(57)
	}
	at := map[string]uint64{}
	for _, e := range r.journal.handed() {
		at[e.Source] = e.SourceSequence
		if lead := int64(at["bow"]) - int64(at["stern"]); lead > 5 || lead < -5 {
			t.Fatalf("bow is at %d s while stern is at %d", at["bow"], at["stern"])
		}
	}
}

// A panic costs the stream it came of and nothing else.
func TestPanicEndsOneStream(t *testing.T) {
	r := newRig(t, nil)
	r.journal.change(func() { r.journal.panics = true })
	w, _ := r.open("gw")
	other, _ := r.open("other")
	w.batch(block(1, "1", noon))
	w.endsWith(codes.Internal, "berth jetty-2: source gw: frame after batch 0: internal error")
	r.journal.change(func() { r.journal.panics = false })
	other.batch(block(1, "2", noon))
	other.until(1)
}

// While the journal is stalled no more than the window is taken, and the source
// is held back; when it goes on all comes through.
func TestBackPressure(t *testing.T) {
	const sent = 200
	reg := prometheus.NewRegistry()
	r := newRig(t, func(o *intake.Options) { o.Limit(intake.Limits{InFlight: 7}); o.Registerer = reg })
	r.journal.stall(true)
	w, _ := r.open("gw")
	// A field the schema does not know makes a batch large and cheap to check: the
	// transport's own windows must not hold them all.
	filler := protowire.AppendBytes(protowire.AppendTag(nil, 99, protowire.BytesType), make([]byte, 100_000))
	through := make(chan struct{})
	go func() {
		defer close(through)
		for i := uint64(1); i <= sent; i++ {
			w.batch(append(block(i, "1", noon-int64(sent-i)*60*second), filler...))
		}
	}()
	r.taken(7)
	if got := waittest.Metric(t, reg, "hawser_intake_in_flight_batches"); got < 7 || got > 8 {
		t.Errorf("%v in flight, want 7, or 8 with one that waits for room", got)
	}
	select {
	case <-through:
		t.Error("the source was not held back")
	default:
	}
	if n := len(r.journal.handed()); n != 7 {
		t.Errorf("%d handed to a stalled journal, want 7", n)
	}
	r.journal.stall(false)
	w.until(sent)
	<-through
	waittest.True(t, "nothing in flight", func() bool { return waittest.Metric(t, reg, "hawser_intake_in_flight_batches") == 0 })
}

// A source that does not read its receipts is held back likewise.
func TestDeafSourceIsHeldBack(t *testing.T) {
	r := newRig(t, limited(intake.Limits{InFlight: 50, ReceiptEvery: time.Nanosecond}))
	w, _ := r.open("gw")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	sent := make(chan uint64, 1)
	go func() {
		i := uint64(1)
		for ; ctx.Err() == nil; i++ {
			if w.Send(batchFrame(marshal(i, column("14/tension", nil)))) != nil {
				break
			}
		}
		sent <- i
	}()
	// Every batch is refused in words; unread refusals fill the transport.
	before, same := 0, 0
	waittest.True(t, "held back", func() bool {
		n := len(r.journal.handed())
		if same++; n == 0 || n != before {
			same = 0
		}
		before = n
		return same == 20
	})
	if len(sent) > 0 {
		t.Error("the source is through")
	}
	w.cancel()
	<-sent
}

// Draining receipts what was taken and tells the source to come back.
func TestDrain(t *testing.T) {
	r := newRig(t, nil)
	r.journal.stall(true)
	w, _ := r.open("gw")
	silent := r.wire()
	w.batch(block(1, "1", noon))
	r.taken(1)
	drained := make(chan error, 1)
	go func() { drained <- r.server.Drain(context.Background()) }()
	silent.endsWith(codes.Unavailable, "server stopping")
	r.wire().endsWith(codes.Unavailable, "server stopping")
	r.journal.stall(false)
	w.until(1)
	w.endsWith(codes.Unavailable, "server stopping")
	if err := <-drained; err != nil {
		t.Error(err)
	}
}

// A journal that does not answer holds a stop up for DrainTimeout and no longer.
func TestDrainWithStalledJournal(t *testing.T) {
	r := newRig(t, limited(intake.Limits{DrainTimeout: 20 * time.Millisecond}))
	r.journal.stall(true)
	w, _ := r.open("gw")
	w.batch(block(1, "1", noon))
	r.taken(1)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		w.endsWith(codes.Unavailable, "")
	}()
	if err := r.server.Drain(context.Background()); err != nil {
		t.Error(err)
	}
	<-ended
}

// A source that half-closes gets its receipts, then OK.
func TestHalfClose(t *testing.T) {
	r := newRig(t, nil)
	r.journal.stall(true)
	w, _ := r.open("gw")
	w.batch(block(1, "1", noon))
	must(t, w.CloseSend())
	r.taken(1)
	r.journal.stall(false)
	w.until(1)
	w.endsWith(codes.OK, "")
}

func TestLimits(t *testing.T) {
	r := newRig(t, limited(intake.Limits{Streams: 3, Sources: 2}))
	a, _ := r.open("a")
	r.open("b")
	r.hello(&hawserv1.Hello{Berth: berth, Source: "c"}).endsWith(codes.ResourceExhausted,
		"berth jetty-2: source c: 2 sources are connected, as many as a berth takes")
	third, _ := r.open("a") // another stream of a source that is there
	a.ends()
	r.hello(&hawserv1.Hello{Berth: berth, Source: "never"}).endsWith(codes.ResourceExhausted, "")
	// The room of a source that left is used again.
	third.cancel()
	waittest.True(t, "source c welcomed", func() bool {
		w := r.hello(&hawserv1.Hello{Berth: berth, Source: "c"})
		defer w.cancel()
		resp, err := w.Recv()
		return err == nil && resp.GetWelcome() != nil
	})
}

func TestStreamLimit(t *testing.T) {
	r := newRig(t, limited(intake.Limits{Streams: 1}))
	r.open("a")
	r.wire().endsWith(codes.ResourceExhausted, "1 streams are open, as many as this server takes")
}

// A berth comes under the plan of its first source; the same plan again is fine;
// another one takes its place when asked to, for streams that are open too.
func TestPlans(t *testing.T) {
	r := newRig(t, nil)
	old, _ := r.open("old")
	replaced := plan("Heron")
	replaced.Lines = replaced.Lines[:1]
	welcome := r.hello(&hawserv1.Hello{Berth: berth, Source: "fresh", Plan: replaced, ReplacePlan: true}).welcome()
	has, _ := r.book.Current(berth)
	if welcome.GetPlanFingerprint() != has.Fingerprint || len(has.Plan.Lines) != 1 {
		t.Errorf("welcome says plan %s, the book %s with %d lines", welcome.GetPlanFingerprint(), has.Fingerprint, len(has.Plan.Lines))
	}
	r.hello(&hawserv1.Hello{Berth: berth, Source: "again", Plan: replaced}).welcome()
	old.batch(marshal(1, column("2/tension", nil), column("1/tension", nil)))
	if got := old.next().GetRefusal().GetStatus().GetMessage(); got != `berth jetty-2: source old: batch 1: columns[0] 2/tension: the plan has no line "2"` {
		t.Errorf("got %q", got)
	}
	old.until(1)
	if e := r.journal.handed()[0]; e.Plan != has.Fingerprint {
		t.Errorf("batch was checked by plan %s, want %s", e.Plan, has.Fingerprint)
	}
	first := plan("Avocet")
	first.Berth = "jetty-7"
	r.hello(&hawserv1.Hello{Berth: "jetty-7", Source: "gw", Plan: first}).welcome()
	if e, ok := r.book.Current("jetty-7"); !ok || e.Plan.Ship.Name != "Avocet" {
		t.Error("the berth's first plan is not on record")
	}
}

func TestMetrics(t *testing.T) {
	reg := prometheus.NewRegistry()
	r := newRig(t, func(o *intake.Options) { o.Registerer = reg })
	w, _ := r.open("gw")
	data := marshal(1, column("1/tension", nil), column("14/tension", nil))
	w.batch(data)
	w.next()
	w.until(1)
	w.batch(data)
	w.until(1)
	w.batch([]byte("mooring"))
	w.ends()
	waittest.True(t, "stream counted out", func() bool { return waittest.Metric(t, reg, "hawser_intake_streams") == 0 })
	for name, want := range map[string]float64{
		"hawser_intake_batches_total":       1,
		"hawser_intake_samples_total":       2,
		"hawser_intake_bytes_total":         float64(len(data)),
		"hawser_intake_refusals_total":      1,
		"hawser_intake_oddities_total":      1, // of all kinds: one repeated batch
		"hawser_intake_streams_ended_total": 1,
		"hawser_intake_in_flight_batches":   0,
	} {
		if got := waittest.Metric(t, reg, name); got != want {
			t.Errorf("%s is %v, want %v", name, got, want)
		}
	}
	if problems, err := testutil.GatherAndLint(reg); err != nil || len(problems) != 0 {
		t.Errorf("lint: %v %v", problems, err)
	}
}
