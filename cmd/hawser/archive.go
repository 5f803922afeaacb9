package main

import (
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"hawser/ingest/simulate/archive"
)

// newArchive is for those who work on hawser, so it is in no list of commands.
func newArchive(s streams) *cobra.Command {
	var o archive.Options
	var start, berth string
	cmd := &cobra.Command{
		Use:    "archive [flags] FOLDER",
		Hidden: true,
		Short:  "Write weeks of invented readings of four berths",
		Long: `archive writes a recording and its plan for every stay of an invented port: four
berths, ships that come and go, tide, weather, cargo, and all that goes wrong. The
same flags give the same files. It prints the two files of each stay, in order of
arrival, so that a server can be filled:

  hawser archive --days 30 port | while read plan recording; do
    hawser send --replace-plan --plan $plan --to 127.0.0.1:7411 $recording; done`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if start != "" {
				day, err := time.Parse(time.DateOnly, start)
				if err != nil {
					return usageError{fmt.Errorf("--start: %q is no day such as 2024-02-01", start)}
				}
				o.Start = day
			}
			stays, err := archive.Stays(o)
			if err != nil {
				return usageError{err}
			}
			archive.SortByArrival(stays)
			if err := os.MkdirAll(args[0], 0o777); err != nil {
				return err
			}
			for _, stay := range stays {
				if berth != "" && stay.Plan.Berth != berth {
					continue
				}
				plan, rec, err := stay.Write(args[0])
				if err != nil {
					return err
				}
				fmt.Fprintln(s.out, plan, rec)
			}
			return cmd.Context().Err()
		},
	}
	f := cmd.Flags()
	f.Uint64Var(&o.Seed, "seed", 1, "of all that is drawn by lot")
	f.IntVar(&o.Days, "days", 30, "how many days")
	f.StringVar(&start, "start", "", "first `DAY`; default 2024-02-01")
	f.DurationVar(&o.Interval, "every", 5*time.Second, "time between readings of a channel: 1s, 2s or 5s")
	f.StringVar(&berth, "berth", "", "this `BERTH` only")
	return cmd
}
