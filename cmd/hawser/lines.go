package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/url"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	hawserv1 "hawser/proto/hawser/v1"
)

// linesOptions are the flags of hawser lines.
type linesOptions struct {
	berth, ship   string
	retired, json bool
	server        serverOptions
}

func newLines(s streams) *cobra.Command {
	o := linesOptions{server: serverOptions{url: "http://127.0.0.1:7410"}}
	cmd := &cobra.Command{
		Use:   "lines [flags]",
		Short: "Print the service record of each line",
		Long: `lines asks a server what each line has been through: hours under load, peaks,
load cycles and their Miner sum, what its brake has rendered, what was raised about
it, across stays. A rope that the plan numbers has a record of its own.

Cycles are rainflow cycles by ASTM E1049-85; the Miner sum is by a tension-tension
curve, named with --json and in the record. It counts tension alone and is known to
a factor of ten: it tells which ropes to look at first, not that one is sound.

` + cautions,
		Example: `  hawser lines --berth east-3
  hawser lines --ship "Heron of Aldmouth" --retired --json
  hawser lines --server https://berths.example:7410 --ca trial/ca.crt --token-file me.token`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.server.validate(); err != nil {
				return usageError{err}
			}
			return lines(cmd.Context(), s, &o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.berth, "berth", "", "only the ship now at this `BERTH`")
	f.StringVar(&o.ship, "ship", "", "only this ship, by `NAME`, wherever she is")
	f.BoolVar(&o.retired, "retired", false, "ropes that are no longer in use as well")
	f.BoolVar(&o.json, "json", false, "write the whole records as JSON")
	o.server.bind(f)
	return cmd
}

func lines(ctx context.Context, s streams, o *linesOptions) error {
	q := url.Values{}
	if o.berth != "" {
		q.Set("berth", o.berth)
	}
	if o.ship != "" {
		q.Set("ship", o.ship)
	}
	q.Set("retired", strconv.FormatBool(o.retired))
	q.Set("cells", strconv.FormatBool(o.json))
	var body bytes.Buffer
	if err := o.server.fetch(ctx, "/api/lines", q, &body); err != nil {
		return err
	}
	answer := &hawserv1.ListLinesResponse{}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(body.Bytes(), answer); err != nil {
		return err
	}
	if o.json {
		body, err := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true, Multiline: true}.Marshal(answer)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(s.out, "%s\n", body)
		return err
	}
	if len(answer.Lines) == 0 {
		_, err := fmt.Fprintln(s.out, o.none())
		return err
	}
	return printLines(s.out, answer)
}

// none says that there is no record of what was asked for.
func (o *linesOptions) none() string {
	text := "no line has a record"
	if o.berth != "" && o.ship == "" {
		text += " of a ship now at berth " + o.berth + "; --ship NAME finds one that has left"
	}
	if o.ship != "" {
		text += " of a ship named " + strconv.Quote(o.ship)
	}
	return text
}

func printLines(w io.Writer, answer *hawserv1.ListLinesResponse) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	ship := ""
	for _, l := range answer.Lines {
		if l.Ship != ship {
			if ship != "" {
				fmt.Fprintln(t)
			}
			ship = l.Ship
			where := "not at a berth"
			if l.Berth != "" {
				where = "at " + l.Berth
			}
			fmt.Fprintf(t, "%s, %s\n", ship, where)
			fmt.Fprintln(t, "line\trope\tmaterial\tstays\th under load\th over WLL\tpeak\tcycles\tover 10 %\tMiner sum\talarms\trendered\tnot read")
		}
		printLine(t, l)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if answer.BatchesMissed > 0 {
		fmt.Fprintf(w, "%g batches are in no record: the journal had let them go, or their plan is lost.\n", answer.BatchesMissed)
	}
	fmt.Fprintln(w, "Cycles are rainflow cycles; over 10 % of MBL in range. ~ marks a Miner sum by a curve that\nstands in for the material. Not read: gaps and readings that do not count.")
	_, err := fmt.Fprintln(w, answer.Caveats[0])
	return err
}

func printLine(w io.Writer, l *hawserv1.LineRecord) {
	name := l.Line
	if !l.InUse {
		name += " (out of use)"
	}
	rope := l.Rope
	if rope == "" && l.Fitting > 1 {
		rope = fmt.Sprintf("fitted no. %d", l.Fitting)
	}
	if rope == "" {
		rope = "-"
	}
	peak := "-"
	if len(l.Peaks) > 0 {
		p := l.Peaks[0]
		peak = fmt.Sprintf("%.0f kN %.0f %% %s", p.LoadKn, 100*p.ShareOfMbl, p.At.AsTime().UTC().Format("2006-01-02 15:04"))
	}
	miner := fmt.Sprintf("%.1e", l.Miner.Sum)
	if l.Miner.StandIn {
		miner = "~" + miner
	}
	fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%.1f\t%.2f\t%s\t%.0f\t%.0f\t%s\t%s\t%.2f m\t%s\n", name, rope, l.Material, l.Stays,
		l.HoursUnderLoad, l.HoursAboveWorkingLoad, peak, l.Cycles, l.CyclesAbove[1], miner, alarmsTold(l), l.RenderedM, notRead(l.Quality))
}

// alarmsTold says in few words what was raised about a line, the gravest first.
func alarmsTold(l *hawserv1.LineRecord) string {
	var told []string
	for _, a := range []struct {
		name string
		n    uint32
	}{{"parted", l.Partings}, {"over limit", l.OverLimits}, {"slip", l.Slips}, {"snap load", l.SnapLoads}} {
		if a.n > 0 {
			told = append(told, fmt.Sprintf("%s %d", a.name, a.n))
		}
	}
	if len(told) == 0 {
		return "-"
	}
	return strings.Join(told, ", ")
}

// notRead says in few words what a record lacks.
func notRead(q *hawserv1.DataQuality) string {
	if q.Readings == 0 {
		return "no readings"
	}
	text := fmt.Sprintf("%.1f h", q.GapHours)
	if n := q.Bad + q.OutOfRange; n > 0 {
		text += fmt.Sprintf(", %g bad", n)
	}
	if q.Late > 0 {
		text += fmt.Sprintf(", %g late", q.Late)
	}
	if q.SensorFaultHours > 0 {
		text += fmt.Sprintf(", %.1f h pin at fault", q.SensorFaultHours)
	}
	if q.Uncertain {
		text += ", a minute in doubt"
	}
	return text
}
