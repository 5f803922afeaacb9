package intake_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/intake"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// Exact texts are kept: they are what an operator has to go by.
func TestHelloFaults(t *testing.T) {
	r := newRig(t, nil)
	otherBerth, heavy := plan("Heron"), plan("Heron")
	otherBerth.Berth = "jetty-3"
	heavy.Lines[1].PretensionKn = 1000
	tests := []struct {
		name  string
		frame *hawserv1.DeliverRequest
		code  codes.Code
		text  string
		info  string
	}{
		{"batch first", batchFrame([]byte{8, 1}), codes.InvalidArgument,
			"frame: the first frame must be a hello", "BAD_HELLO; frame BAD_HELLO"},
		{"empty frame", &hawserv1.DeliverRequest{}, codes.InvalidArgument,
			"frame: the first frame must be a hello", "BAD_HELLO; frame BAD_HELLO"},
		{"berth in capitals", helloFrame(&hawserv1.Hello{Berth: "Jetty", Source: "gw"}), codes.InvalidArgument,
			"hello.berth: does not match regex pattern `^[a-z0-9-]{1,40}$`", "BAD_HELLO; hello.berth BAD_HELLO"},
		{"source with a dot", helloFrame(&hawserv1.Hello{Berth: berth, Source: "gw.1"}), codes.InvalidArgument,
			"hello.source: does not match regex pattern `^[A-Za-z0-9_-]{1,64}$`", "BAD_HELLO; hello.source BAD_HELLO"},
		{"plan of another berth", helloFrame(&hawserv1.Hello{Berth: berth, Source: "gw", Plan: otherBerth}), codes.InvalidArgument,
			"hello.plan.berth: the plan is of berth jetty-3, the hello of jetty-2", "BAD_HELLO; hello.plan.berth BAD_HELLO"},
		{"plan out of range", helloFrame(&hawserv1.Hello{Berth: berth, Source: "gw", Plan: heavy}), codes.InvalidArgument,
			"hello.plan.lines[1]: pretension_kN must be under mbl_kN", "BAD_HELLO; hello.plan.lines[1] BAD_HELLO"},
		{"no plan anywhere", helloFrame(&hawserv1.Hello{Berth: "jetty-9", Source: "gw"}), codes.FailedPrecondition,
			"berth jetty-9: not under any plan; send the mooring plan with the hello", "NO_PLAN"},
		{"another plan", helloFrame(&hawserv1.Hello{Berth: berth, Source: "gw", Plan: plan("Avocet")}), codes.FailedPrecondition,
			"berth is under another plan: berth jetty-2 is under plan " + planfile.Fingerprint(plan("Heron")) +
				" of Heron, not " + planfile.Fingerprint(plan("Avocet")) + " of Avocet", "OTHER_PLAN"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			w := r.wire()
			w.frame(test.frame)
			st := w.ends()
			if st.Code() != test.code || st.Message() != test.text {
				t.Errorf("got %v %q, want %v %q", st.Code(), st.Message(), test.code, test.text)
			}
			if got := reasonAndFields(st); got != test.info {
				t.Errorf("details %q, want %q", got, test.info)
			}
		})
	}
}

func column(channel string, change func(*hawserv1.Column)) *hawserv1.Column {
	c := &hawserv1.Column{Channel: channel, BaseTimeUnixNano: noon, PeriodTicks: 100, Count: 2, Decimals: 1, ValueDeltas: []int64{885, -5}}
	if change != nil {
		change(c)
	}
	return c
}

func marshal(sequence uint64, columns ...*hawserv1.Column) []byte {
	data, err := proto.Marshal(&hawserv1.Batch{Sequence: sequence, Columns: columns})
	if err != nil {
		panic(err)
	}
	return data
}

// Each batch of the table comes after batch 1, which is good, and before another
// good one, which must be receipted where the stream goes on.
func TestMalformed(t *testing.T) {
	good := column("1/tension", nil)
	promise := func(ns int64) []byte {
		data, err := proto.Marshal(&hawserv1.Batch{Sequence: 2, CompleteUntilUnixNano: ns, Columns: []*hawserv1.Column{good}})
		if err != nil {
			panic(err)
		}
		return data
	}
	const place = "berth jetty-2: source gw: batch 2: "
	const end = "berth jetty-2: source gw: frame after batch 1: "
	ahead := column("1/tension", func(c *hawserv1.Column) { c.BaseTimeUnixNano = noon + 61*second; c.PeriodTicks = 1500 })
	tests := []struct {
		name  string
		data  []byte
		ends  bool // else the stream goes on
		whole bool // else only columns are refused
		text  string
		info  string
	}{
		// The stream ends.
		{"empty", []byte{}, true, false, end + "sequence is 0, expected 1 or more", "BAD_FRAME; frame BAD_FRAME"},
		{"no protobuf", []byte("mooring"), true, false, end + "not a batch: no field at byte 5", "BAD_FRAME; frame BAD_FRAME"},
		{"torn", marshal(2, good)[:20], true, false, end + "not a batch: no field at byte 2", "BAD_FRAME; frame BAD_FRAME"},
		{"no sequence", marshal(0, good), true, false, end + "sequence is 0, expected 1 or more", "BAD_FRAME; frame BAD_FRAME"},
		{"too large", make([]byte, 1<<20+1), true, false, end + "not a batch: 1048577 bytes, expected at most 1048576", "BAD_FRAME; frame BAD_FRAME"},
		{"column no protobuf", []byte{8, 2, 0x1a, 2, 0xff, 0xff}, true, false, end + "not a batch: columns[0] is damaged", "BAD_FRAME; frame BAD_FRAME"},
		// The batch is refused.
		{"promise under 0", promise(-1), false, true, place + "complete_until_unix_nano is -1, expected 0 or more", "BAD_BATCH; batch BAD_BATCH"},
		{"promise ahead", promise(noon + 61*second), false, true,
			place + "complete_until at 2026-03-01T12:01:01.000Z is 1m1s ahead of the server's clock", "CLOCK_AHEAD; batch CLOCK_AHEAD"},
		{"513 columns", marshal(2, many(513)...), false, true, place + "over 512 columns", "BAD_BATCH; batch BAD_BATCH"},
		// Columns are refused.
		{"unknown channel", marshal(2, good, column("1/heat", nil)), false, false,
			place + `columns[1] 1/heat: unknown channel "1/heat"`, "UNKNOWN_CHANNEL; columns[1] 1/heat UNKNOWN_CHANNEL"},
		{"unknown line", marshal(2, column("14/tension", nil), good), false, false,
			place + `columns[0] 14/tension: the plan has no line "14"`, "UNKNOWN_LINE; columns[0] 14/tension UNKNOWN_LINE"},
		{"line without pin", marshal(2, good, column("bare/tension", nil)), false, false,
			place + `columns[1] bare/tension: line "bare" has no load pin in the plan`, "NO_LOAD_PIN; columns[1] bare/tension NO_LOAD_PIN"},
		{"clock ahead", marshal(2, ahead), false, false,
			place + "columns[0] 1/tension: a reading at 2026-03-01T12:01:02.500Z is 1m2.5s ahead of the server's clock",
			"CLOCK_AHEAD; columns[0] 1/tension CLOCK_AHEAD"},
		{"wrong count", marshal(2, column("1/tension", func(c *hawserv1.Column) { c.Count = 3 })), false, false, place + "columns[0] 1/tension: value_deltas has 2 elements, expected 3", "WRONG_COUNT; columns[0] 1/tension WRONG_COUNT"},
		{"no time", marshal(2, column("1/tension", func(c *hawserv1.Column) { c.BaseTimeUnixNano = 0 })), false, false, place + "columns[0] 1/tension: base_time_unix_nano is 0, expected more than 0", "BAD_TIME; columns[0] 1/tension BAD_TIME"},
		{"not finite", marshal(2, column("1/tension", func(c *hawserv1.Column) { c.ValueDeltas, c.ExactValues = nil, []float64{1, inf} })),
			false, false, place + "columns[0] 1/tension: reading 1: value +Inf is not marked bad", "BAD_VALUE; columns[0] 1/tension BAD_VALUE"},
		{"unknown quality", marshal(2, column("1/tension", func(c *hawserv1.Column) { c.Qualities = []hawserv1.Quality{0, 9} })),
			false, false, place + "columns[0] 1/tension: reading 1: unknown quality 9", "BAD_QUALITY; columns[0] 1/tension BAD_QUALITY"},
		{"three faults", marshal(2, column("wind/heat", nil), good, column("14/tension", nil), column("bare/tension", nil)), false, false,
			place + `columns[0] wind/heat: unknown channel "wind/heat" (the first of 3 columns)`,
			"UNKNOWN_CHANNEL; columns[0] wind/heat UNKNOWN_CHANNEL; columns[2] 14/tension UNKNOWN_LINE; columns[3] bare/tension NO_LOAD_PIN"},
	}
	r := newRig(t, nil)
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r.journal.change(func() { r.journal.entries, r.journal.stored = nil, 0 })
			w, _ := r.open("gw")
			w.t = t
			w.batch(block(1, "1", noon-second))
			w.until(1)
			w.batch(test.data)
			var st *status.Status
			if test.ends {
				st = w.ends()
			} else {
				refusal := w.next().GetRefusal()
				if refusal.GetSequence() != 2 || refusal.GetWholeBatch() != test.whole {
					t.Fatalf("got %v, want a refusal of batch 2, whole %v", refusal, test.whole)
				}
				st = status.FromProto(refusal.GetStatus())
				w.batch(block(3, "1", noon))
				w.until(3)
			}
			if st.Code() != codes.InvalidArgument || st.Message() != test.text {
				t.Errorf("got %v %q, want %q", st.Code(), st.Message(), test.text)
			}
			if got := reasonAndFields(st); got != test.info {
				t.Errorf("details %q, want %q", got, test.info)
			}
			journalled(t, r, test.ends, test.whole)
		})
	}
}

// journalled checks that a batch with columns refused is journalled and one
// refused as a whole is not.
func journalled(t *testing.T, r *rig, ended, whole bool) {
	t.Helper()
	want := []uint64{1, 2, 3}
	switch {
	case ended:
		want = []uint64{1}
	case whole:
		want = []uint64{1, 3}
	}
	entries := r.journal.handed()
	if len(entries) != len(want) {
		t.Fatalf("%d batches journalled, want %v", len(entries), want)
	}
	for i, e := range entries {
		if e.SourceSequence != want[i] {
			t.Errorf("entry %d has sequence %d, want %d", i, e.SourceSequence, want[i])
		}
	}
}

func many(n int) []*hawserv1.Column {
	out := make([]*hawserv1.Column, n)
	for i := range out {
		out[i] = column("1/tension", nil)
	}
	return out
}

// The journal holds the bytes that were sent, the indexes of the columns not
// taken and the plan they were checked by.
func TestRefusedColumnsAreMarked(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	data := marshal(1, column("14/tension", nil), column("1/tension", nil), column("wind/heat", nil), column("bare/tension", nil))
	w.batch(data)
	w.next()
	w.until(1)
	e := r.journal.handed()[0]
	has, _ := r.book.Current(berth)
	if string(e.Data) != string(data) || e.Berth != berth || e.Source != "gw" || e.Plan != has.Fingerprint {
		t.Errorf("entry is %+v", e)
	}
	if len(e.Refused) != 3 || e.Refused[0] != 0 || e.Refused[1] != 2 || e.Refused[2] != 3 {
		t.Errorf("refused columns %v, want [0 2 3]", e.Refused)
	}
}

// A pay-out or a brake needs no load pin.
func TestUnpinnedLineMaySendPayout(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	w.batch(encode(&reading.Block{Sequence: 1, Series: []reading.Series{
		{Channel: reading.Channel{Line: "bare", Kind: reading.Payout}, Time: []int64{noon}, Value: []float64{0.1}, Decimals: 1},
		{Channel: reading.Channel{Line: "bare", Kind: reading.Brake}, Time: []int64{noon}, Value: []float64{1}},
	}}))
	w.until(1)
	if e := r.journal.handed()[0]; len(e.Refused) != 0 {
		t.Errorf("refused columns %v, want none", e.Refused)
	}
}

// A refusal names 16 columns and counts the rest.
func TestManyRefusedColumns(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	columns := many(40)
	for _, c := range columns {
		c.Channel = "14/tension"
	}
	w.batch(marshal(1, columns...))
	st := status.FromProto(w.next().GetRefusal().GetStatus())
	if want := `berth jetty-2: source gw: batch 1: columns[0] 14/tension: the plan has no line "14" (the first of 40 columns)`; st.Message() != want {
		t.Errorf("got %q, want %q", st.Message(), want)
	}
	if got := strings.Count(reasonAndFields(st), ";"); got != 16 {
		t.Errorf("%d columns named, want 16", got)
	}
	w.until(1)
}

// A stream must say who it is.
func TestSilentStreamEnds(t *testing.T) {
	o := newRig(t, limited(intake.Limits{HelloTimeout: 20 * time.Millisecond}))
	o.wire().endsWith(codes.DeadlineExceeded, "no hello within 20ms")
}

// A second Hello is a fault of the source's program.
func TestSecondHello(t *testing.T) {
	r := newRig(t, nil)
	w, _ := r.open("gw")
	w.frame(helloFrame(&hawserv1.Hello{Berth: berth, Source: "gw"}))
	w.endsWith(codes.InvalidArgument, "berth jetty-2: source gw: frame after batch 0: expected a batch after the hello")
}
