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
	"hawser/services/watch"
)

func newReplay(s streams) *cobra.Command {
	var planPath, outPath string
	cmd := &cobra.Command{
		Use:   "replay --plan PLAN [--out FILE] RECORDING",
		Short: "Run the detectors over a recording, as the live watch would",
		Long: `replay runs the detectors over a recording exactly as the live watch does, at
recorded time and as fast as the machine can, and writes one JSON object a line
for each condition raised or cleared. The same recording gives the same bytes.`,
		Example: `  hawser replay --plan plan.yaml --out alarms.jsonl recording.csv.gz
  hawser replay --plan plan.yaml recording.csv | jq .detail`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if err := needPlan(cmd, planPath); err != nil {
				return err
			}
			out := s.out
			if outPath != "" && outPath != "-" {
				f, err := os.Create(outPath)
				if err != nil {
					return err
				}
				defer func() { err = errors.Join(err, f.Close()) }()
				out = f
			}
			return replay(planPath, args[0], out, s.err)
		},
	}
	cmd.Flags().StringVar(&planPath, "plan", "", "mooring plan `FILE` (YAML)")
	cmd.Flags().StringVar(&outPath, "out", "-", "write the changes to `FILE`")
	return cmd
}

// replay runs a recording through the detectors and writes the changes.
func replay(planPath, recordingPath string, out, notes io.Writer) error {
	plan, _, err := planfile.Load(planPath)
	if err != nil {
		return err
	}
	r, err := recording.Open(recordingPath, recording.Options{})
	if err != nil {
		return err
	}
	defer r.Close()

	w := bufio.NewWriterSize(out, 64<<10)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	unit := watch.NewUnit(plan)
	for {
		block, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(fmt.Errorf("changes up to there are written: %w", err), w.Flush())
		}
		for _, c := range unit.Take("replay", block) {
			if err := enc.Encode(changeLine(&c)); err != nil {
				return err
			}
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return tellOddities(notes, r.Stats(), unit.Oddities())
}

// tellOddities says what in a recording was not used, if anything.
func tellOddities(w io.Writer, s recording.Stats, o detect.Oddities) error {
	var err error
	say := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, "hawser: "+format+"\n", args...)
		}
	}
	if s.Bad > 0 {
		say("%d bad readings (NaN, infinite, empty or unparsable)", s.Bad)
	}
	if s.Ahead > 0 {
		say("%d rows far ahead of all others that the next row did not bear out, not detected on", s.Ahead)
	}
	if o.Late > 0 {
		say("%d readings over 5 s late, not detected on", o.Late)
	}
	if o.Duplicate > 0 {
		say("%d readings at a time their channel already had", o.Duplicate)
	}
	if o.Overflow > 0 {
		say("%d readings pushed out of a full buffer", o.Overflow)
	}
	if s.Unknown > 0 {
		say("%d rows of unknown channels: %v", s.Unknown, s.UnknownNames)
	}
	if o.Unknown > 0 {
		say("%d readings of lines the plan does not have", o.Unknown)
	}
	return err
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
		l.Onset = time.Unix(0, c.Onset).UTC().Format(stamp)
	}
	return l
}
