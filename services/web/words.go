package web

import (
	"fmt"
	"strings"
	"time"
)

// groupNames are the groups as people say them, of one line and of all.
var groupNames = map[string]struct{ one, all string }{
	"head":       {"head line", "Head lines"},
	"fwd-breast": {"forward breast line", "Forward breast lines"},
	"fwd-spring": {"forward spring", "Forward springs"},
	"aft-spring": {"aft spring", "Aft springs"},
	"aft-breast": {"aft breast line", "Aft breast lines"},
	"stern":      {"stern line", "Stern lines"},
}

// groupName names the lines of a group.
func groupName(group string) string {
	if name, ok := groupNames[group]; ok {
		return name.all
	}
	return sentence(group)
}

// place names what an alarm is on: "Line 4, forward breast line", or its group.
func place(line, group string) string {
	switch {
	case line == "":
		return groupName(group)
	case groupNames[group].one == "":
		return "Line " + line
	}
	return "Line " + line + ", " + groupNames[group].one
}

// sentence writes a name such as "line-parted" as words.
func sentence(name string) string {
	if name == "" {
		return ""
	}
	words := strings.ReplaceAll(name, "-", " ")
	return strings.ToUpper(words[:1]) + words[1:]
}

// moment is a point in time for a <time> element. The script shows it in the
// viewer's zone.
type moment struct {
	Machine string // RFC 3339
	Text    string // UTC
}

func stamp(t time.Time) moment {
	t = t.UTC()
	return moment{Machine: t.Format(time.RFC3339Nano), Text: t.Format("2 Jan 2006, 15:04:05 UTC")}
}

// span writes seconds as people say them.
func span(seconds float64) string {
	s := int64(seconds)
	switch {
	case s < 60:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return fmt.Sprintf("%d min %d s", s/60, s%60)
	case s < 48*3600:
		return fmt.Sprintf("%d h %d min", s/3600, s%3600/60)
	}
	return fmt.Sprintf("%d days", s/86400)
}

// none stands where nothing is known.
const none = "–"

// figures writes a number for the eye: a true minus sign, and none before a
// zero.
func figures(format string, v float64) string {
	s := fmt.Sprintf(format, v)
	if !strings.ContainsAny(s, "123456789") {
		s = strings.TrimLeft(s, "+-")
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

// number writes a value that may be unknown.
func number(format string, v *float64) string {
	if v == nil {
		return none
	}
	return figures(format, *v)
}

// percent writes a share.
func percent(share float64) string { return figures("%.0f", 100*share) + " %" }
