package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

	"hawser/ingest/edge"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	hawserv1 "hawser/proto/hawser/v1"
)

// sendOptions are the flags of send.
type sendOptions struct {
	plan, to, source string
	starting         time.Time // zero for as recorded
	startingNow      bool
	pace             float64
	window           time.Duration
	replacePlan      bool
	giveUp           time.Duration
	peer             gatewayOptions
}

func newSend(s streams) *cobra.Command {
	var o sendOptions
	cmd := &cobra.Command{
		Use:   "send --plan PLAN [flags] RECORDING",
		Short: "Send a recording to a server",
		Long: `send streams a recording to a running server: as fast as the server takes it, or
at the recorded pace or a multiple of it. It resumes where the server's disk has
it, after a lost connection and when run again: the source is named after what
the recording holds, so the same recording is not taken twice.`,
		Example: `  hawser send --plan plan.yaml --to 127.0.0.1:7411 recording.csv.gz
  hawser send --plan plan.yaml --to 127.0.0.1:7411 --pace 1 --starting now recording.csv.gz
  hawser send --plan plan.yaml --to berths.example:7411 --keys trial recording.csv.gz`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := needPlan(o.plan); err != nil {
				return err
			}
			if err := o.validate(); err != nil {
				return usageError{err}
			}
			return send(cmd.Context(), s, &o, args[0])
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.plan, "plan", "", "mooring plan `FILE` (YAML)")
	f.StringVar(&o.to, "to", "127.0.0.1:7411", "`ADDRESS` of the server's gRPC services")
	f.StringVar(&o.source, "source", "", "`NAME` of the source; by default named after the recording's content")
	f.Func("starting", "send as if the recording began at this `TIME`, RFC 3339 or Unix milliseconds, or now", func(text string) error {
		if text == "now" {
			o.starting, o.startingNow = time.Now(), true
			return nil
		}
		var m moment
		if err := m.Set(text); err != nil {
			return fmt.Errorf("%w, or now", err)
		}
		o.starting, o.startingNow = m.Time, false
		return nil
	})
	f.Float64Var(&o.pace, "pace", 0, "`N` times faster than recorded, 1 for the recorded pace; by default as fast as it goes")
	f.DurationVar(&o.window, "window", time.Second, "span of readings in one batch")
	f.BoolVar(&o.replacePlan, "replace-plan", false, "put the plan in place of another one the server has for the berth")
	f.DurationVar(&o.giveUp, "give-up-after", 0, "end when there is no connection for so long; 0 never")
	o.peer.bind(f)
	return cmd
}

func (o *sendOptions) validate() error {
	switch {
	case !(o.pace >= 0 && o.pace <= 1e6):
		return fmt.Errorf("--pace: %g must be from 0 to 1000000", o.pace)
	case o.startingNow && (o.pace == 0 || o.pace > 1):
		return errors.New("--starting now: needs --pace 1 or less; faster, it runs ahead of the clock, and the server refuses that")
	case o.window < 100*time.Millisecond || o.window > 10*time.Second:
		return fmt.Errorf("--window: %s must be from 100ms to 10s", o.window)
	case o.giveUp < 0:
		return fmt.Errorf("--give-up-after: %s is negative", o.giveUp)
	}
	return o.peer.settle()
}

func send(ctx context.Context, s streams, o *sendOptions, path string) error {
	plan, message, err := planfile.Load(o.plan)
	if err != nil {
		return err
	}
	shift, err := o.shift(path)
	if err != nil {
		return err
	}
	source := o.source
	if source == "" {
		if source, err = sourceName(path, message, o.window, shift); err != nil {
			return err
		}
	}
	r, err := recording.Open(path, recording.Options{Window: o.window})
	if err != nil {
		return err
	}
	defer r.Close()
	options, err := o.peer.dial(ctx, o.to)
	if err != nil {
		return err
	}
	conn, err := grpc.NewClient(o.to, append(options, edge.DialOptions()...)...)
	if err != nil {
		return usageError{fmt.Errorf("--to: %w", err)}
	}
	defer conn.Close()

	bar := newBar(s.err, r, o.to)
	began := time.Now()
	sum, err := edge.Send(ctx, conn, r.Next, edge.Options{
		Berth: plan.Berth, Source: source, Plan: message, ReplacePlan: o.replacePlan,
		Pace: o.pace, Shift: shift, GiveUpAfter: o.giveUp, Progress: func(p edge.Progress) { bar.show(ctx, p) },
	})
	bar.done()
	for _, refusal := range sum.Refusals {
		fmt.Fprintf(s.err, "hawser: refused: %s\n", refusal)
	}
	told := tellDoubts(s.err, r.Stats())
	if _, err := fmt.Fprintln(s.out, summaryLine(sum, time.Since(began))); err != nil {
		return err
	}
	if err == nil && sum.RefusedBatches > 0 {
		err = fmt.Errorf("the server refused %d batches, whose readings it does not have", sum.RefusedBatches)
	}
	return errors.Join(replaceHint(err), told)
}

// replaceHint adds what to type where the server has another plan for the berth.
func replaceHint(err error) error {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok && info.GetReason() == "OTHER_PLAN" {
			return fmt.Errorf("%w; --replace-plan puts yours in its place", err)
		}
	}
	return err
}

// shift is what to add to every time of the recording.
func (o *sendOptions) shift(path string) (time.Duration, error) {
	if o.starting.IsZero() {
		return 0, nil
	}
	r, err := recording.Open(path, recording.Options{Window: o.window})
	if err != nil {
		return 0, err
	}
	defer r.Close()
	if _, err := r.Next(); err != nil && !errors.Is(err, io.EOF) {
		return 0, err
	}
	return o.starting.Sub(time.Unix(0, r.Stats().First)).Round(time.Millisecond), nil
}

// sourceName names a source after everything its batches are made of, so that
// the same batches come under the same name and sequence.
func sourceName(path string, plan *hawserv1.MooringPlan, window, shift time.Duration) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	fmt.Fprintf(h, "\n%s %s %s", planfile.Fingerprint(plan), window, shift)
	return "recording-" + hex.EncodeToString(h.Sum(nil)[:8]), nil
}

func summaryLine(sum edge.Summary, took time.Duration) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d readings in %d batches on the server's disk, %d batches were there before; %s",
		sum.Samples, sum.Batches, sum.Skipped, took.Round(time.Millisecond))
	if sum.RefusedBatches > 0 || sum.RefusedColumns > 0 {
		fmt.Fprintf(&b, "; refused %d batches and %d columns", sum.RefusedBatches, sum.RefusedColumns)
	}
	o := sum.Oddities
	for _, odd := range []struct {
		n    uint64
		what string
	}{{o.Late, "late"}, {o.Duplicate, "repeated"}, {o.OutOfOrder, "out of order"}, {o.Bad, "bad"}} {
		if odd.n > 0 {
			fmt.Fprintf(&b, "; %d readings %s", odd.n, odd.what)
		}
	}
	if sum.Reconnects > 0 {
		fmt.Fprintf(&b, "; connected again %d times", sum.Reconnects)
	}
	return b.String()
}

// bar shows how far a recording is sent, on a terminal, and says anywhere when there
// is no connection.
type bar struct {
	out    io.Writer
	to     string
	reader *recording.Reader
	bar    *progressbar.ProgressBar // nil where there is no terminal
	lost   bool
}

func newBar(w io.Writer, r *recording.Reader, to string) *bar {
	if !isTerminal(w) {
		return &bar{out: w, to: to, reader: r}
	}
	return &bar{out: w, to: to, reader: r, bar: progressbar.NewOptions64(r.Stats().BytesTotal,
		progressbar.OptionSetWriter(w), progressbar.OptionShowBytes(true),
		progressbar.OptionSetWidth(30), progressbar.OptionThrottle(100*time.Millisecond))}
}

func (b *bar) show(ctx context.Context, p edge.Progress) {
	if ctx.Err() != nil {
		return // that the connection ends is no news
	}
	if p.Err != nil && !b.lost && !p.Final {
		fmt.Fprintf(b.out, "hawser: no connection to %s: %s; trying again\n", b.to, edge.Reason(p.Err))
	}
	b.lost = p.Err != nil || b.lost && !p.Connected
	if b.bar == nil {
		return
	}
	what := "sending"
	if !p.Connected {
		what = "no connection"
	} else if !p.EventTime.IsZero() {
		what = "on disk to " + p.EventTime.UTC().Format("15:04:05")
	}
	b.bar.Describe(what)
	_ = b.bar.Set64(b.reader.Stats().BytesRead) // only the picture would suffer
}

func (b *bar) done() {
	if b.bar != nil {
		_ = b.bar.Finish()
		fmt.Fprintln(b.out)
	}
}
