package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"hawser/detect/mooring"
	"hawser/detect/mooring/quality"
)

// printRemarks writes what quality has to say, with the rules where asked.
func printRemarks(w io.Writer, p *mooring.Plan, remarks []quality.Remark, why bool) error {
	fmt.Fprintln(w)
	if len(remarks) == 0 {
		fmt.Fprintln(w, "No remarks, by the rules that a plan's figures allow. That is no approval.")
	}
	for _, r := range remarks {
		fmt.Fprintf(w, "%-7s  %s%s.\n", r.Severity, subject(p, r), r.Text)
		if why {
			fmt.Fprintf(w, "         Rule %s: %s\n         Source: %s.\n", r.Rule.Name, r.Rule.Says, r.Rule.Source)
		}
	}
	_, err := fmt.Fprintf(w, "\nWear, chafe and the strength of what is ashore are not in a plan: look at them.\n%s\n", cautions)
	return err
}

// writeRemarks writes remarks as one JSON object.
func writeRemarks(w io.Writer, p *mooring.Plan, remarks []quality.Remark) error {
	type remark struct {
		Severity string   `json:"severity"`
		Lines    []string `json:"lines"`
		Text     string   `json:"text"`
		Rule     string   `json:"rule"`
		Says     string   `json:"says"`
		Source   string   `json:"source"`
	}
	out := struct {
		Berth   string   `json:"berth"`
		Ship    string   `json:"ship"`
		Remarks []remark `json:"remarks"`
	}{p.Berth, p.Ship.Name, []remark{}}
	for _, r := range remarks {
		lines := r.Lines
		if lines == nil {
			lines = []string{} // a list for whoever reads it
		}
		out.Remarks = append(out.Remarks, remark{r.Severity.String(), lines, r.Text, r.Rule.Name, r.Rule.Says, r.Rule.Source})
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

// subject is what a remark is about: lines, with the groups they are of where
// those are not many.
func subject(p *mooring.Plan, r quality.Remark) string {
	switch len(r.Lines) {
	case 0:
		return "mooring: "
	case len(p.Lines):
		return "all lines: "
	}
	var groups []string
	for _, id := range r.Lines {
		if g := p.Lines[p.Line(id)].Group.String(); !slices.Contains(groups, g) {
			groups = append(groups, g)
		}
	}
	lines := "lines " + strings.Join(r.Lines, ", ")
	if len(r.Lines) == 1 {
		lines = "line " + r.Lines[0]
	}
	if len(groups) <= 2 {
		lines += " (" + strings.Join(groups, ", ") + ")"
	}
	return lines + ": "
}
