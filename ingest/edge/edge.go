// Package edge is the sending side of the intake: it carries blocks of readings
// from wherever they come to a server, across lost connections. It never changes
// a reading's value and keeps nothing on disk.
//
// Its invariant: a batch is kept until the server has receipted or refused it,
// so what the source gave is on the server's disk when Send returns without an
// error, but for what was refused.
//
//	blocks ──encode──► window (bounded) ──stream──► server
//	                      ▲   receipt: dropped │
//	                      └────────────────────┘
//
// After a lost connection the server says which batch it has on disk last; the
// window is sent again from there, and blocks it has already are passed over.
package edge

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/keepalive"

	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
)

// Options say who sends and how. Zero means the default.
type Options struct {
	Berth  string
	Source string
	// Plan may be nil where the server has one for the berth.
	Plan *hawserv1.MooringPlan
	// ReplacePlan puts Plan in place of another one.
	ReplacePlan bool

	// Pace is how fast event time goes: 1 as recorded, N for N times faster, 0 as
	// fast as the server takes it. A block goes when its newest reading's time
	// comes, counted from the first block that is sent.
	Pace float64
	// Shift is added to every time.
	Shift time.Duration

	// GiveUpAfter ends Send when a lost connection does not come back for so long,
	// or comes back and brings nothing; 0 never.
	GiveUpAfter time.Duration

	// Progress is told how far it is, some times a second and when a connection
	// comes or goes, by the goroutine that called Send.
	Progress func(Progress)
	Log      *slog.Logger // default: none

	// Tests set these.
	windowBatches          int
	minBackoff, maxBackoff time.Duration
}

const (
	// windowBatches and windowBytes bound what is kept for want of a receipt: some hours
	// of a berth, for a server that cannot keep what it watches.
	windowBatches = 16384
	windowBytes   = 8 << 20
	// minBackoff and maxBackoff bound the wait before a lost connection is tried again,
	// which doubles from one to the other. It and the longest wait of the transport
	// together are under the 5 s for which a server that was away, for however long, has
	// the gateways of a berth wait for each other.
	minBackoff   = 200 * time.Millisecond
	maxBackoff   = 2 * time.Second
	maxDialDelay = time.Second
)

// validate checks the options and puts the defaults in.
func (o *Options) validate() error {
	switch {
	case o.Berth == "" || o.Source == "":
		return errors.New("berth and source are required")
	case !(o.Pace >= 0 && o.Pace <= 1e6):
		return fmt.Errorf("pace is %v, expected 0 to 1000000", o.Pace)
	case o.GiveUpAfter < 0:
		return errors.New("negative duration")
	}
	o.windowBatches = cmp.Or(o.windowBatches, windowBatches)
	o.minBackoff = cmp.Or(o.minBackoff, minBackoff)
	o.maxBackoff = cmp.Or(o.maxBackoff, maxBackoff)
	o.Log = cmp.Or(o.Log, slog.New(slog.DiscardHandler))
	return nil
}

// Progress is how far a Send is.
type Progress struct {
	Summary
	// EventTime is the newest reading that is on the server's disk, shifted; zero
	// before the first.
	EventTime time.Time
	Connected bool
	// Err is why there is no connection, nil while there is or at first.
	Err error
	// Final is set as Send returns: nothing is tried again.
	Final bool
}

// Summary is what a Send has done.
type Summary struct {
	// Batches, Samples and Bytes are what the server has on disk of what was sent,
	// readings in refused columns among them.
	Batches, Samples, Bytes uint64
	// Skipped blocks were on the server's disk before.
	Skipped uint64
	// DurableSequence is the last sequence the server has on disk.
	DurableSequence uint64

	RefusedBatches, RefusedColumns uint64
	// Refusals are the texts of the first few.
	Refusals []string

	// Oddities are as the receipts told them; a receipt lost with its connection
	// takes its share along.
	Oddities Oddities

	Reconnects int
}

// Oddities counts readings that the server kept but holds suspect.
type Oddities struct{ Late, Duplicate, OutOfOrder, Bad, RepeatedBatches uint64 }

// Send sends what blocks yields until io.EOF and returns when all of it is
// receipted or refused. A block is used until blocks is called again; sequences
// must rise. Lost connections and a server that says Unavailable, Aborted or the
// like are tried again; that the server cannot take the source at all, as with
// InvalidArgument or FailedPrecondition, is an error at once. An error of blocks
// is returned after what came before it is receipted. The Summary counts also
// beside an error.
//
// While blocks waits for readings a lost connection goes unnoticed. The
// connection should be made with DialOptions, else a dead line may be noticed
// after minutes only.
func Send(ctx context.Context, conn grpc.ClientConnInterface, blocks func() (*reading.Block, error), o Options) (Summary, error) {
	if err := o.validate(); err != nil {
		return Summary{}, fmt.Errorf("send: %w", err)
	}
	s := &sender{
		o: o, blocks: blocks, client: hawserv1.NewIntakeServiceClient(conn), window: newWindow(o),
		log: o.Log.With("berth", o.Berth, "source", o.Source),
	}
	err := s.run(ctx)
	s.tell(Progress{Err: err, Final: true})
	return s.summary(), err
}

// DialOptions are what a connection to an intake should be made with: it pings,
// so that a dead line is noticed, and comes back within seconds of the server.
func DialOptions() []grpc.DialOption {
	return []grpc.DialOption{
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 10 * time.Second, Timeout: 10 * time.Second}),
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 200 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: maxDialDelay},
			MinConnectTimeout: 5 * time.Second,
		}),
	}
}
