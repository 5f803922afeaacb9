package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"time"

	"github.com/spf13/cobra"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	"hawser/ingest/store"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/history/export"
)

// exportOptions are the flags of hawser export.
type exportOptions struct {
	plan, out, format string
	berth, channel    string
	from, to          moment
	step              time.Duration // 0 for readings as they are
	server            serverOptions
}

func newExport(s streams) *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export {--server URL --berth BERTH --from TIME --to TIME | --plan PLAN RECORDING} --out FILE [flags]",
		Short: "Write readings to a Parquet, Arrow or CSV file",
		Long: `export writes readings with their units to a file that notebooks and databases
read: of a running server's history, as they are or in steps with mean, lowest,
highest, standard deviation and count, or of a recording, as they are. Parquet and
Arrow files also have the berth, the span, the units and the mooring plan in their
metadata. The form is by the file's name, .parquet, .arrow or .csv, or --format.
Bad readings have no number and are left out.`,
		Example: `  hawser export --server http://127.0.0.1:7410 --berth east-3 --from 2026-03-01T00:00:00Z --to 2026-03-02T00:00:00Z --step 10s --out east-3.parquet
  hawser export --server https://berths.example:7410 --ca ca.crt --token-file desk.token --berth east-3 --channel 7/tension --from 2026-03-01T00:00:00Z --to 2026-03-01T06:00:00Z --out line-7.csv
  hawser export --plan plan.yaml --out recording.arrow recording.csv.gz`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := o.validate(args); err != nil {
				return usageError{err}
			}
			return writeAside(o.out, 0o644, func(w io.Writer) error {
				if len(args) > 0 {
					return o.recording(cmd.Context(), args[0], w)
				}
				return o.server.fetch(cmd.Context(), "/api/export", o.query(), w)
			}, nil)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "`FILE` to write; it must not be there yet")
	f.StringVar(&o.format, "format", "", "`FORM`: parquet, arrow or csv; by default as the file's name says")
	f.StringVar(&o.plan, "plan", "", "mooring plan `FILE` (YAML) of the recording")
	f.StringVar(&o.berth, "berth", "", "`BERTH` on the server")
	f.StringVar(&o.channel, "channel", "", "one `CHANNEL` such as 7/tension; by default all")
	f.Var(&o.from, "from", "begin at this time, RFC 3339 or Unix milliseconds")
	f.Var(&o.to, "to", "end at this time")
	f.DurationVar(&o.step, "step", 0, "`DURATION` of a step such as 10s; by default readings as they are")
	o.server.bind(f)
	return cmd
}

func (o *exportOptions) validate(args []string) error {
	if o.format == "" {
		o.format = export.FormatOf(o.out)
	}
	online := o.server.url != ""
	ofServer := o.berth != "" || o.channel != "" || !o.from.IsZero() || !o.to.IsZero() || o.step != 0 || o.server != serverOptions{}
	switch {
	case o.out == "":
		return errors.New("--out must be given")
	case export.MediaType(o.format) == "":
		return fmt.Errorf("--format: %q is none of parquet, arrow, csv, nor does the file's name say", o.format)
	case online == (len(args) > 0):
		return errors.New("give either --server or a recording")
	case !online && ofServer:
		return errors.New("--berth, --channel, --from, --to, --step, --ca and --token-file go with --server: a recording is written whole, as it is")
	case !online && o.plan == "":
		return errors.New("--plan must be given with a recording")
	case online && (o.berth == "" || o.from.IsZero() || o.to.IsZero()):
		return errors.New("--berth, --from and --to must be given with --server")
	case online && o.plan != "":
		return errors.New("--plan is of a recording: the server has its own")
	case o.step < 0:
		return fmt.Errorf("--step: %s is negative", o.step)
	}
	if _, err := os.Lstat(o.out); err == nil {
		return fmt.Errorf("--out: %s is there already", o.out)
	}
	if !online {
		return nil
	}
	return o.server.validate()
}

// query is what a server is asked for.
func (o *exportOptions) query() url.Values {
	q := url.Values{"berth": {o.berth}, "from": {o.from.String()}, "to": {o.to.String()}, "format": {o.format}}
	if o.channel != "" {
		q.Set("channel", o.channel)
	}
	if o.step > 0 {
		q.Set("step", o.step.String())
	}
	return q
}

// recording writes the readings of a recording, window by window.
func (o *exportOptions) recording(ctx context.Context, path string, w io.Writer) error {
	plan, message, err := planfile.Load(o.plan)
	if err != nil {
		return err
	}
	from, to, err := spanOfRecording(path)
	if err != nil {
		return err
	}
	head, err := headOf(plan, message)
	if err != nil {
		return err
	}
	head.From, head.To = from, to
	file, err := export.New(o.format, w, head)
	if err != nil {
		return err
	}
	r, err := recording.Open(path, recording.Options{Window: time.Minute})
	if err != nil {
		return err
	}
	defer r.Close()
	for b, err := range r.Blocks() {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = file.Write(resultsOf(b))
		}
		if err != nil {
			return err
		}
	}
	return file.Close()
}

// spanOfRecording is from its first reading to after its last.
func spanOfRecording(path string) (from, to time.Time, err error) {
	r, err := recording.Open(path, recording.Options{Window: time.Minute})
	if err != nil {
		return from, to, err
	}
	defer r.Close()
	for _, err := range r.Blocks() {
		if err != nil {
			return from, to, err
		}
	}
	s := r.Stats()
	return time.Unix(0, s.First), time.Unix(0, s.Last+1), nil
}

func headOf(plan *mooring.Plan, message *hawserv1.MooringPlan) (export.Head, error) {
	text, err := planfile.Marshal(message)
	return export.Head{Berth: plan.Berth, Plan: string(text), Fingerprint: planfile.Fingerprint(message)}, err
}

// resultsOf is a block as an answer of a store: without its bad readings.
func resultsOf(b *reading.Block) []store.Result {
	results := make([]store.Result, 0, len(b.Series))
	for i := range b.Series {
		s := &b.Series[i]
		r := store.Result{Channel: s.Channel}
		for j := range s.Time {
			if s.QualityAt(j) != reading.Bad {
				r.Time, r.Value = append(r.Time, s.Time[j]), append(r.Value, s.Value[j])
			}
		}
		results = append(results, r)
	}
	return results
}
