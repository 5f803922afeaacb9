package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/services/alarm"
	"hawser/services/report"
	"hawser/services/stay"
	"hawser/services/watch"
)

// reportOptions are what a report is made of and where it goes.
type reportOptions struct {
	plan, recording        string // files
	berth, stay, zone, out string
	from, to               moment
	server                 serverOptions
}

func newReport(s streams) *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report {--plan PLAN RECORDING | --server URL --berth BERTH} --out FILE",
		Short: "Write down a stay of a ship: loads, worst moments, alarms, tending, weather",
		Long: `report writes the report of one stay as PDF or as one HTML page, by the end of the
name of --out: a recording's with its plan, or a running server's.

From a recording the alarms are those of the detectors run over it. From a server
they are those that people were told of, with who took them on and when; without
--stay the report is of the newest stay at the berth, and --from and --to cut a part
out of it. Times are UTC; --zone gives local time beside it.

` + cautions,
		Example: `  hawser report --plan plan.yaml --out stay.pdf recording.csv.gz
  hawser report --plan plan.yaml --zone Europe/London --out stay.html recording.csv.gz
  hawser report --server http://127.0.0.1:7410 --berth east-3 --out stay.pdf
  hawser report --server https://berths.example:7410 --ca ca.crt --token-file desk.token --berth east-3 \
    --from 2026-03-01T00:00:00Z --to 2026-03-02T00:00:00Z --out first-day.pdf`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.recording = args[0]
			}
			if err := o.validate(); err != nil {
				return usageError{err}
			}
			write := func(w io.Writer) error { return o.write(cmd.Context(), w) }
			if o.out == "-" {
				return write(s.out)
			}
			return writeAside(o.out, 0o644, write, nil)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.plan, "plan", "", "mooring plan `FILE` (YAML) of the recording")
	f.StringVar(&o.berth, "berth", "", "`BERTH` on the server")
	f.StringVar(&o.stay, "stay", "", "the stay's `ID`, as /api/stays lists it; default the newest")
	f.Var(&o.from, "from", "begin at this time, RFC 3339 or Unix milliseconds; by default with the stay")
	f.Var(&o.to, "to", "end at this time")
	f.StringVar(&o.zone, "zone", "", "time zone `NAME` for local time, such as Europe/London")
	f.StringVar(&o.out, "out", "", "write the report to `FILE`, .pdf or .html, over what is there; - for HTML on standard output")
	o.server.bind(f)
	return cmd
}

func (o *reportOptions) pdf() bool { return strings.EqualFold(filepath.Ext(o.out), ".pdf") }

func (o *reportOptions) validate() error {
	online := o.server.url != ""
	switch ext := strings.ToLower(filepath.Ext(o.out)); {
	case o.out == "":
		return errors.New("--out must be given")
	case o.out != "-" && ext != ".pdf" && ext != ".html" && ext != ".htm":
		return fmt.Errorf("--out: %q ends neither in .pdf nor in .html", o.out)
	case online == (o.plan != ""):
		return errors.New("either --server, or --plan and a recording, must be given")
	case !online && o.recording == "":
		return errors.New("the recording must be given")
	case !online && (o.berth != "" || o.server != serverOptions{}):
		return errors.New("--berth, --ca and --token-file go with --server")
	case online && o.recording != "":
		return errors.New("a recording goes with --plan")
	case online && o.berth == "":
		return errors.New("--berth must be given with --server")
	case !o.from.IsZero() && !o.to.IsZero() && !o.from.Before(o.to.Time):
		return errors.New("--from must be before --to")
	}
	if _, err := report.Zone(o.zone); err != nil {
		return fmt.Errorf("--zone: %w", err)
	}
	if !online {
		return nil
	}
	return o.server.validate()
}

func (o *reportOptions) write(ctx context.Context, w io.Writer) error {
	if o.server.url != "" {
		return o.server.fetch(ctx, "/report", o.query(), w)
	}
	in, err := o.readRecording()
	if err != nil {
		return err
	}
	f, err := report.Reckon(ctx, *in)
	if err != nil {
		return err
	}
	body, err := report.Render(f, o.pdf())
	if err != nil {
		return err
	}
	_, err = w.Write(body)
	return err
}

// readRecording reads a recording once: its stays, its steps, and the alarms that the
// detectors raise over it.
func (o *reportOptions) readRecording() (*report.Input, error) {
	plan, message, err := planfile.Load(o.plan)
	if err != nil {
		return nil, err
	}
	in := &report.Input{Plan: plan, Fingerprint: planfile.Fingerprint(message), FromRecording: true, Made: time.Now(), Version: version()}
	fold := &stay.Fold{Berth: plan.Berth}
	unit := watch.NewUnit(plan)
	var alarms alarm.Replayed
	source, err := report.NewRecording(o.recording, func(b *reading.Block) error {
		if e, ok := stay.EventOf(b); ok {
			e.Ship, e.Plan = plan.Ship.Name, in.Fingerprint
			fold.Take(&e)
		}
		changes := unit.Take("report", b)
		for i := range changes {
			alarms.Add(plan.Berth, &changes[i])
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	in.Source, in.Alarms = source, alarms.States()
	for _, s := range fold.Stays {
		if o.stay == "" || s.ID == o.stay {
			in.Stay = s // the newest
		}
	}
	if in.Stay.ID == "" {
		return nil, fmt.Errorf("%s: %s in it", o.recording, strings.TrimSpace("no stay "+o.stay))
	}
	in.Zone, _ = report.Zone(o.zone) // checked
	if in.Stay.Departure.IsZero() {
		in.Stay.Departure = in.Stay.Newest // the recording's end
	}
	in.Stay = report.Cut(in.Stay, o.from.Time, o.to.Time)
	return in, nil
}

// query is what a server is asked for.
func (o *reportOptions) query() url.Values {
	q := url.Values{"berth": {o.berth}}
	for name, v := range map[string]string{"stay": o.stay, "from": o.from.String(), "to": o.to.String(), "zone": o.zone} {
		if v != "" {
			q.Set(name, v)
		}
	}
	if o.pdf() {
		q.Set("format", "pdf")
	}
	return q
}
