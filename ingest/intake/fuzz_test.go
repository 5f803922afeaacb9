package intake_test

import (
	"context"
	"io"
	"math"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"hawser/ingest/batch"
	"hawser/ingest/intake"
	hawserv1 "hawser/proto/hawser/v1"
)

// script is a stream that plays frames and keeps what is answered.
type script struct {
	grpc.ServerStream
	ctx     context.Context
	frames  []*hawserv1.DeliverRequest
	answers []*hawserv1.DeliverResponse
}

func (s *script) Context() context.Context { return s.ctx }

func (s *script) Recv() (*hawserv1.DeliverRequest, error) {
	if len(s.frames) == 0 {
		return nil, io.EOF
	}
	f := s.frames[0]
	s.frames = s.frames[1:]
	return f, nil
}

func (s *script) Send(r *hawserv1.DeliverResponse) error {
	s.answers = append(s.answers, r)
	return nil
}

// Whatever a source sends, the stream goes on or ends with InvalidArgument or
// FailedPrecondition; if it goes on, a good batch after it all is receipted; and
// all that is journalled decodes, in rising sequence.
func FuzzDeliver(f *testing.F) {
	hello, err := proto.Marshal(helloFrame(&hawserv1.Hello{Berth: berth, Source: "gw", Plan: plan("Heron")}))
	if err != nil {
		f.Fatal(err)
	}
	good := marshal(1, column("1/tension", nil), column("14/tension", nil))
	f.Add(hello, good, marshal(2, column("2/payout", nil)))
	f.Add(hello, good[:30], []byte{8, 0})
	f.Add([]byte{}, good, good)
	f.Add([]byte{0x12, 2, 8, 1}, good, good)
	f.Fuzz(func(t *testing.T, first, second, third []byte) {
		var opening hawserv1.DeliverRequest
		if proto.Unmarshal(first, &opening) != nil {
			opening.Frame = &hawserv1.DeliverRequest_Hello{Hello: &hawserv1.Hello{Berth: berth, Source: "gw"}}
		}
		m := newMemory()
		server, err := intake.New(intake.Options{Journal: m, Plans: newBook(t, plan("Heron")), Validator: protovalidate.GlobalValidator,
			Now: func() time.Time { return time.Unix(0, noon) }})
		must(t, err)
		s := &script{ctx: t.Context(), frames: []*hawserv1.DeliverRequest{&opening}}
		for _, data := range [][]byte{second, third, block(math.MaxUint64, "wind", noon)} {
			s.frames = append(s.frames, batchFrame(data))
		}
		code := status.Code(server.Deliver(s))
		must(t, server.Drain(t.Context()))
		var receipted uint64
		for _, a := range s.answers {
			receipted = max(receipted, a.GetReceipt().GetDurableSequence())
		}
		switch code {
		case codes.OK:
			if receipted != math.MaxUint64 {
				t.Errorf("stream went on, but the last batch was not receipted: %v", s.answers)
			}
		case codes.InvalidArgument, codes.FailedPrecondition:
		default:
			t.Errorf("stream ended with %v", code)
		}
		var decoder batch.Decoder
		var last uint64
		for _, e := range m.handed() {
			b, _, err := decoder.Decode(e.Data)
			if err != nil || b.Sequence <= last || b.Sequence != e.SourceSequence {
				t.Errorf("journalled batch %d after %d: %v", e.SourceSequence, last, err)
			}
			last = e.SourceSequence
		}
	})
}
