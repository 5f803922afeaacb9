package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"hawser/detect"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	"hawser/services/evidence"
	"hawser/services/watch"
)

func newReplay(s streams) *cobra.Command {
	var o replayOptions
	cmd := &cobra.Command{
		Use:   "replay --plan PLAN [flags] RECORDING",
		Short: "Run the detectors over a recording, as the live watch would",
		Long: `replay runs the detectors over a recording exactly as the live watch does, at
recorded time and as fast as the machine can, and writes one JSON object a line
for each condition raised or cleared. The same recording gives the same bytes.

With --explain it also writes, for each alarm, what it was told on: an account
in JSON (loads before and after, the fit of the ship's place and what it leaves
unexplained line by line, the figure that decided and its threshold, pay-out and
brake where they are told) and a picture of it in SVG. The folder must be new or empty.

With --summary it prints a table at the end: to standard output where --out
names a file, else to standard error.`,
		Example: `  hawser replay --plan plan.yaml --out alarms.jsonl recording.csv.gz
  hawser replay --plan plan.yaml --out alarms.jsonl --explain why --summary recording.csv.gz
  hawser replay --plan plan.yaml recording.csv | jq .detail`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if err := needPlan(o.plan); err != nil {
				return err
			}
			return replay(s, &o, args[0])
		},
	}
	cmd.Flags().StringVar(&o.plan, "plan", "", "mooring plan `FILE` (YAML)")
	cmd.Flags().StringVar(&o.out, "out", "-", "write the changes to `FILE`, over what is there; - for standard output")
	cmd.Flags().StringVar(&o.explain, "explain", "", "write an account and a picture of each alarm into this `FOLDER`, new or empty")
	cmd.Flags().BoolVar(&o.summary, "summary", false, "print a table at the end")
	return cmd
}

// replayOptions are the flags of hawser replay.
type replayOptions struct {
	plan, out, explain string
	summary            bool
}

// replay runs a recording through the detectors and writes the changes, and
// what else was asked for.
func replay(s streams, o *replayOptions, path string) (err error) {
	plan, _, err := planfile.Load(o.plan)
	if err != nil {
		return err
	}
	r, err := recording.Open(path, recording.Options{})
	if err != nil {
		return err
	}
	defer r.Close()
	out, table := s.out, s.err
	if o.out != "" && o.out != "-" {
		f, openErr := os.Create(o.out)
		if openErr != nil {
			return openErr
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		out, table = f, s.out
	}

	w := bufio.NewWriterSize(out, 64<<10)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	unit := watch.NewUnit(plan)
	var why *evidence.Recorder
	if o.explain != "" {
		if why, err = evidence.New(plan, o.explain); err != nil {
			return err
		}
		unit.Observe(why.Look)
	}
	finish := func() error {
		if why == nil {
			return w.Flush()
		}
		return errors.Join(w.Flush(), why.Close())
	}
	sum := summary{}
	for block, err := range r.Blocks() {
		if err != nil {
			return errors.Join(fmt.Errorf("%w; the changes before are written", err), finish())
		}
		changes := unit.Take("replay", block)
		for i := range changes {
			if err := enc.Encode(changeLine(&changes[i])); err != nil {
				return err
			}
			sum.add(&changes[i])
		}
		if why != nil {
			if err := why.Take(block, changes); err != nil {
				return err
			}
		}
	}
	if err := finish(); err != nil {
		return err
	}
	if o.summary {
		if err := sum.print(table, r.Stats(), unit.Oddities()); err != nil {
			return err
		}
	}
	return tellOddities(s.err, r.Stats(), unit.Oddities())
}

// tellOddities says what in a recording was not used, if anything.
func tellOddities(w io.Writer, s recording.Stats, o detect.Oddities) error {
	for _, odd := range []struct {
		n    uint64
		what string
	}{
		{s.Bad, "bad readings (NaN, infinite, empty or unparsable)"},
		{s.Ahead, "rows far ahead of all others that the next row did not bear out, not detected on"},
		{o.Late, "readings over 5 s late, not detected on"},
		{o.Duplicate, "readings at a time their channel already had"},
		{o.Overflow, "readings pushed out of a full buffer"},
		{o.Unknown, "readings of lines the plan does not have"},
	} {
		if odd.n == 0 {
			continue
		}
		if _, err := fmt.Fprintf(w, "hawser: %d %s\n", odd.n, odd.what); err != nil {
			return err
		}
	}
	return tellDoubts(w, s)
}

// tellDoubts says what of a recording cannot be meant, if anything.
func tellDoubts(w io.Writer, s recording.Stats) error {
	var errs []error
	if s.Unknown > 0 {
		_, err := fmt.Fprintf(w, "hawser: %d rows of unknown channels: %v\n", s.Unknown, s.UnknownNames)
		errs = append(errs, err)
	}
	if at := time.Unix(0, s.First).UTC(); s.Channels > 0 && at.Year() < 2000 {
		_, err := fmt.Fprintf(w, "hawser: the recording begins in %d: times that are whole numbers are Unix milliseconds, not seconds\n", at.Year())
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// line is the JSON form of a change.
type line struct {
	Time      string   `json:"time"`
	Condition string   `json:"condition"`
	State     string   `json:"state"`
	Line      *string  `json:"line"`
	Group     *string  `json:"group"`
	Priority  string   `json:"priority"`
	Value     *float64 `json:"value"`
	Limit     *float64 `json:"limit"`
	Unit      string   `json:"unit"`
	Onset     string   `json:"onset,omitempty"`
	Detail    string   `json:"detail"`
}

const stamp = "2006-01-02T15:04:05.000Z"

func changeLine(c *detect.Change) line {
	l := line{
		Time: c.When().Format(stamp), Condition: c.Condition.String(), State: "cleared",
		Priority: c.Condition.Priority().String(), Value: &c.Value, Unit: c.Unit, Detail: c.Detail,
	}
	if c.Raised {
		l.State = "raised"
	}
	if c.Line != "" {
		l.Line = &c.Line
	}
	if c.Group != 0 {
		g := c.Group.String()
		l.Group = &g
	}
	if c.HasLimit {
		l.Limit = &c.Limit
	}
	if c.Onset != 0 {
		l.Onset = at(c.Onset)
	}
	return l
}
