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
	_ "time/tzdata" // the same zones on every machine

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
	plan, recording      string // files
	server, berth, stay  string
	from, to, zone, outs string
	peer                 peerOptions
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
			if err := o.check(); err != nil {
				return usageError{fmt.Errorf("report: %w", err)}
			}
			write := func(w io.Writer) error { return o.write(cmd.Context(), w) }
			if o.outs == "-" {
				return write(s.out)
			}
			return writeAside(o.outs, write)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.plan, "plan", "", "mooring plan `FILE` (YAML) of the recording")
	f.StringVar(&o.server, "server", "", "`URL` of a server's pages")
	f.StringVar(&o.berth, "berth", "", "berth whose stay it is")
	f.StringVar(&o.stay, "stay", "", "the stay's `ID`, as /api/stays lists it; default the newest")
	f.StringVar(&o.from, "from", "", "begin at this `TIME` (RFC 3339)")
	f.StringVar(&o.to, "to", "", "end at this `TIME` (RFC 3339)")
	f.StringVar(&o.zone, "zone", "", "time zone `NAME` for local time, such as Europe/London")
	f.StringVar(&o.outs, "out", "", "write the report to `FILE`, .pdf or .html; - for HTML on standard output")
	o.peer.bind(f)
	return cmd
}

func (o *reportOptions) pdf() bool { return strings.EqualFold(filepath.Ext(o.outs), ".pdf") }

func (o *reportOptions) check() error {
	switch ext := strings.ToLower(filepath.Ext(o.outs)); {
	case o.outs == "":
		return errors.New("--out must be given")
	case o.outs != "-" && ext != ".pdf" && ext != ".html" && ext != ".htm":
		return fmt.Errorf("--out: %q ends neither in .pdf nor in .html", o.outs)
	case (o.server == "") == (o.plan == ""):
		return errors.New("either --server, or --plan and a recording, must be given")
	case o.plan != "" && o.recording == "":
		return errors.New("the recording must be given")
	case o.plan != "" && (o.berth != "" || o.peer != peerOptions{}):
		return errors.New("--berth, certificates and tokens are for --server")
	case o.server != "" && o.recording != "":
		return errors.New("a recording goes with --plan")
	case o.server != "" && o.berth == "":
		return errors.New("--berth must be given")
	}
	if _, err := report.Zone(o.zone); err != nil {
		return fmt.Errorf("--zone: %w", err)
	}
	if _, _, err := o.times(); err != nil || o.server == "" {
		return err
	}
	return o.peer.settleURL("--server", o.server)
}

func (o *reportOptions) times() (from, to time.Time, err error) {
	for _, t := range []struct {
		flag, text string
		into       *time.Time
	}{{"--from", o.from, &from}, {"--to", o.to, &to}} {
		if t.text == "" {
			continue
		}
		if *t.into, err = time.Parse(time.RFC3339Nano, t.text); err != nil {
			return from, to, fmt.Errorf("%s: %q is no RFC 3339 time such as 2026-03-01T04:05:06Z", t.flag, t.text)
		}
	}
	if !from.IsZero() && !to.IsZero() && !from.Before(to) {
		return from, to, errors.New("--from must be before --to")
	}
	return from, to, nil
}

func (o *reportOptions) write(ctx context.Context, w io.Writer) error {
	if o.server != "" {
		if err := o.peer.fetch(ctx, strings.TrimRight(o.server, "/")+"/report?"+o.query().Encode(), w); err != nil {
			return fmt.Errorf("report: %w", err)
		}
		return nil
	}
	in, err := o.readRecording()
	if err != nil {
		return err
	}
	f, err := report.Reckon(ctx, *in)
	if err != nil {
		return err
	}
	var body []byte
	if d := report.Compose(f); o.pdf() {
		body, err = report.PDF(d, f.Made)
	} else {
		body, err = report.HTML(d)
	}
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
	from, to, _ := o.times() // checked
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
	in.Stay = report.Cut(in.Stay, from, to)
	return in, nil
}

// query is what a server is asked for.
func (o *reportOptions) query() url.Values {
	q := url.Values{"berth": {o.berth}}
	for name, v := range map[string]string{"stay": o.stay, "from": o.from, "to": o.to, "zone": o.zone} {
		if v != "" {
			q.Set(name, v)
		}
	}
	if o.pdf() {
		q.Set("format", "pdf")
	}
	return q
}
