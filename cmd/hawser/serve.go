package main

import (
	"fmt"
	"io"
	"log/slog"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

func newServe(s streams) *cobra.Command {
	cfg := defaultConfig()
	var configPath string
	verbose := false
	cmd := &cobra.Command{
		Use:   "serve [flags]",
		Short: "Run the server: intake, journal, detectors, alarms, pages",
		Long: `serve takes readings in over gRPC, keeps them, watches every berth it has a plan
for, and serves the page, alarms, metrics and health. SIGTERM or Ctrl-C drains
and stops it within 5 s; a second one ends it at once.

As it is nobody logs in, so it listens on loopback only. With --tls-cert,
--tls-key and --access it listens anywhere, asks everyone who they are and keeps
on record who did what; "hawser keys" makes all that a trial needs.

` + cautions,
		Example: `  hawser serve --plan plan.yaml
  hawser serve --http :7410 --grpc :7411 --tls-cert server.crt --tls-key server.key --access access.yaml
  hawser serve --config hawser.yaml --data /var/lib/hawser
  hawser serve --journal nats://127.0.0.1:4222 --store influxdb --influxdb-url http://127.0.0.1:8086 --influxdb-bucket moorings`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := cfg.load(cmd, configPath); err != nil {
				return err
			}
			level := slog.LevelInfo
			if verbose {
				level = slog.LevelDebug
			}
			st, err := openStation(cmd.Context(), cfg, newLog(s.err, level))
			if err != nil {
				return err
			}
			printAddresses(s.out, st)
			return st.Run(cmd.Context())
		},
	}
	cfg.bind(cmd)
	cmd.Flags().StringVar(&configPath, "config", "", "settings `FILE` (YAML); flags go before it")
	cmd.Flags().BoolVar(&verbose, "verbose", false, "log what is of interest to developers too")
	return cmd
}

// printAddresses says where to look.
func printAddresses(w io.Writer, st *station) {
	scheme := "http"
	if st.guard != nil {
		scheme = "https"
	}
	fmt.Fprintf(w, "pages  %s://%s/\ngRPC   %s\n", scheme, st.front.HTTPAddr(), st.front.GRPCAddr())
}

// newLog logs in words to a terminal and in JSON elsewhere.
func newLog(w io.Writer, level slog.Level) *slog.Logger {
	o := &slog.HandlerOptions{Level: level}
	if isTerminal(w) {
		return slog.New(slog.NewTextHandler(w, o))
	}
	return slog.New(slog.NewJSONHandler(w, o))
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
