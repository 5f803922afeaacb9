package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/edge"
	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	"hawser/ingest/simulate"
	hawserv1 "hawser/proto/hawser/v1"
)

//go:embed demo.yaml
var demoPlan []byte

func newDemo(s streams) *cobra.Command {
	cfg := defaultConfig()
	cmd := &cobra.Command{
		Use:   "demo [flags]",
		Short: "Watch an invented ship at an invented berth",
		Long: `demo runs a whole server over a simulated ship and sends her readings in as a
gateway would: calm, then a gust off the quay, a brake that slips, a line that
parts. The story takes about five minutes and begins again. It listens on
loopback only, needs no network and keeps its data in a temporary folder until
it is stopped.

` + cautions,
		Example: `  hawser demo`,
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return demo(cmd.Context(), s, cfg) },
	}
	f := cmd.Flags()
	f.StringVar(&cfg.HTTP, "http", cfg.HTTP, "loopback `ADDRESS` of pages, metrics and health")
	f.StringVar(&cfg.GRPC, "grpc", cfg.GRPC, "loopback `ADDRESS` of the gRPC services")
	return cmd
}

func demo(ctx context.Context, s streams, cfg config) (err error) {
	plan, message, err := planfile.Parse("demo.yaml", demoPlan)
	if err != nil {
		return err
	}
	cfg.Data, err = os.MkdirTemp("", "hawser-demo-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(cfg.Data)) }()
	st, err := openDemoStation(ctx, cfg, s.err)
	if err != nil {
		return err
	}
	if _, err := st.book.Put(ctx, message, planbook.Terms{Replace: true, By: "demo"}); err != nil {
		return errors.Join(err, st.Close())
	}
	st.board.SetPlan(plan.Berth, plan)

	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return st.Run(ctx) })
	g.Go(func() error { return sendDemo(ctx, st, plan, message) })
	g.Go(func() error {
		view := newDeckView(s.out, st, plan)
		return view.run(ctx)
	})
	return g.Wait()
}

// openDemoStation opens a station, on other ports where the usual ones are taken.
func openDemoStation(ctx context.Context, cfg config, logTo io.Writer) (*station, error) {
	log := newLog(logTo, slog.LevelError)
	st, err := openStation(ctx, cfg, log)
	if errors.Is(err, syscall.EADDRINUSE) {
		cfg.HTTP, cfg.GRPC = "127.0.0.1:0", "127.0.0.1:0"
		return openStation(ctx, cfg, log)
	}
	return st, err
}

// sendDemo is the demo's gateway: it reads the simulated ship and sends what it
// reads to the station over gRPC, in real time.
func sendDemo(ctx context.Context, st *station, plan *mooring.Plan, message *hawserv1.MooringPlan) error {
	story := simulate.DemoStory(plan)
	story.Start = time.Now().Truncate(time.Second)
	story.Window = 200 * time.Millisecond
	story.Loop = true
	ship, err := simulate.New(plan, story)
	if err != nil {
		return err
	}
	conn, err := grpc.NewClient(st.front.GRPCAddr().String(),
		append(edge.DialOptions(), grpc.WithTransportCredentials(insecure.NewCredentials()))...)
	if err != nil {
		return err
	}
	defer conn.Close()
	_, err = edge.Send(ctx, conn, func() (*reading.Block, error) { return ship.Next(), nil }, edge.Options{
		Berth: plan.Berth, Source: fmt.Sprintf("demo-%d", story.Start.Unix()), Plan: message, Pace: 1,
	})
	if ctx.Err() != nil {
		return nil
	}
	return err
}
