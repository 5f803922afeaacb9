package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"hawser/detect"
	"hawser/ingest/recording"
)

// summary adds up the changes of a replay.
type summary map[detect.Condition]*tally

// tally is what became of one condition.
type tally struct {
	raised, cleared int
	first           int64            // Unix nanoseconds
	places          []string         // lines, or groups where no line is known, as they came
	up              map[string]int64 // place to when it was raised
	longest         int64            // nanoseconds, of what was cleared
}

func (s summary) add(c *detect.Change) {
	place := c.Line
	if place == "" {
		place = c.Group.String()
	}
	t := s[c.Condition]
	if t == nil {
		t = &tally{first: c.Time, up: map[string]int64{}}
		s[c.Condition] = t
	}
	if !c.Raised {
		t.cleared++
		t.longest = max(t.longest, c.Time-t.up[place])
		delete(t.up, place)
		return
	}
	t.raised++
	t.up[place] = c.Time
	if !slices.Contains(t.places, place) {
		t.places = append(t.places, place)
	}
}

// print writes the table. What was still up at the end of the recording counts
// as lasting until then.
func (s summary) print(w io.Writer, r recording.Stats, o detect.Oddities) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "condition\traised\tcleared\tstill up\tlines\tfirst\tlongest")
	for _, c := range detect.Conditions() {
		n := s[c]
		if n == nil {
			fmt.Fprintf(t, "%s\t0\t0\t0\t-\t-\t-\n", c)
			continue
		}
		longest := n.longest
		for _, from := range n.up {
			longest = max(longest, r.Last-from)
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%s\t%s\t%s\n", c, n.raised, n.cleared, len(n.up), strings.Join(n.places, " "),
			at(n.first), time.Duration(longest).Round(time.Second/10))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%d readings of %d channels from %s to %s: %d bad, %d late, %d of unknown channels or lines\n%s\n",
		r.Rows, r.Channels, at(r.First), at(r.Last), r.Bad, o.Late, r.Unknown+o.Unknown, cautions)
	return err
}

func at(t int64) string { return time.Unix(0, t).UTC().Format(stamp) }
