package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	"hawser/services/backup"
)

// Exit codes. Documented in the help of the root command.
const (
	exitOK       = 0
	exitFailed   = 1 // could not go on: disk, network, a part that stopped
	exitUsage    = 2 // wrong command, flag or argument
	exitBadInput = 3 // the plan or another file is wrong; the error names the place
	exitNotHeld  = 4 // no equilibrium: nothing holds the ship as asked
)

// cautions are caution.Full as a screen has it.
const cautions = `The whole mooring deck is dangerous: lines part and recoil without warning.
Figures are estimates, not permission. Follow the ship's and the terminal's
procedures, local rules and licensed practice.`

// streams are the program's three files.
type streams struct {
	in  io.Reader
	out io.Writer
	err io.Writer
}

// usageError is the user's mistake in a command, flag or argument.
type usageError struct{ error }

// run is the program: it returns the exit code.
func run(ctx context.Context, args []string, s streams) int {
	root := newRoot(s)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitOK
	}
	fmt.Fprintf(s.err, "%s: %v\n", strings.ReplaceAll(cmd.CommandPath(), " ", ": "), err)
	return exitCode(err)
}

func exitCode(err error) int {
	var usage usageError
	var plan *planfile.Error
	var rec *recording.Error
	var table *tableError
	var held *notHeld
	var archive *backup.Error
	switch {
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &plan), errors.As(err, &rec), errors.As(err, &table), errors.As(err, &archive):
		return exitBadInput
	case errors.As(err, &held):
		return exitNotHeld
	default:
		return exitFailed
	}
}

func newRoot(s streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "hawser",
		Short: "Watch moored ships: line loads in, alarms out",
		Long: `hawser takes load-pin and winch readings of moored ships, keeps them, finds what
is wrong and tells the people who can put it right.

` + cautions + `

Exit codes: 0 done, 1 could not go on, 2 wrong command or flag, 3 the plan or
another file is wrong (the error names the place), 4 no equilibrium (assess).`,
		Example: `  hawser demo
  hawser check plan.yaml
  hawser assess --plan plan.yaml --wind 35@270
  hawser replay --plan plan.yaml --out alarms.jsonl recording.csv.gz
  hawser serve --plan plan.yaml
  hawser send --plan plan.yaml --to 127.0.0.1:7411 recording.csv.gz`,
		Version:       version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(newServe(s), newDemo(s), newSend(s), newReplay(s), newLines(s), newBackup(s), newRestore(s), newCheck(s), newAssess(s), newKeys(s), newExport(s), newReport(s), newArchive(s))
	for _, cmd := range append(root.Commands(), root) {
		cmd.Args = usageArgs(cmd.Args)
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if f.Value.Type() == "duration" {
				f.DefValue = shortDuration(f.DefValue) // in the help
			}
		})
	}
	return root
}

// usageArgs makes a wrong number of arguments or an unknown command a usage
// error.
func usageArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		err := check(cmd, args)
		switch {
		case err == nil:
			return nil
		case !cmd.HasParent():
			return usageError{err}
		}
		given := fmt.Sprintf("%d arguments were given", len(args))
		if len(args) == 1 {
			given = "one argument was given"
		}
		return usageError{fmt.Errorf("%s, and the command is: %s", given, cmd.UseLine())}
	}
}

// shortDuration leaves out of a duration what says nothing: 720h of 720h0m0s.
func shortDuration(text string) string {
	if hours, ok := strings.CutSuffix(text, "h0m0s"); ok {
		return hours + "h"
	}
	if minutes, ok := strings.CutSuffix(text, "m0s"); ok {
		return minutes + "m"
	}
	return text
}

// needPlan wants the --plan flag of a command to be given.
func needPlan(path string) error {
	if path == "" {
		return usageError{errors.New("--plan must be given")}
	}
	return nil
}

// version is what the build says of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			v += " " + s.Value[:12]
		}
	}
	return v
}
