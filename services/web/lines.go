package web

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	hawserv1 "hawser/proto/hawser/v1"
)

// Lines tells what each line has been through, as far as the caller may see it.
type Lines interface {
	ListLines(context.Context, *hawserv1.ListLinesRequest) (*hawserv1.ListLinesResponse, error)
}

// linesView is the service records as their template has them.
type linesView struct {
	Berth, Ship string
	Known       []string // ships to choose from
	Retired     bool     // those no longer in use as well
	Other       string   // address of the page with them, or without
	Ships       []shipOfLines
	One         *wholeRecord // one line's, where it is asked for
	Missed      string       // batches in no record, "" for none
	Caveats     []string     // en-GB
}

type shipOfLines struct {
	Ship, Berth string
	Lines       []lineOfShip
}

// lineOfShip is a record in a row.
type lineOfShip struct {
	Line, Group, Rope, Material string
	Fitting                     uint32 // of a rope of unknown number, from the second on
	InUse                       bool
	Address                     string // of the whole record
	MBL                         string
	Stays                       uint32
	UnderLoad, OverLimit        string // hours
	Peak, PeakShare             string // "" for none
	PeakAt                      moment
	Cycles, Large               string // all, and those of a tenth of MBL at least
	Miner                       string
	StandIn                     bool // Miner is by another material's curve
	Slips, Snaps, Overs, Parted uint32
	Rendered                    string // metres
	Lacks                       []string
}

// lines draws what each line has been through: a table a ship, or one line's whole
// record.
func (s *Site) lines(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	one := q.Get("line")
	known := s.ships(r.Context())
	req := &hawserv1.ListLinesRequest{Berth: q.Get("berth"), Ship: asWritten(q.Get("ship"), known), IncludeRetired: one != "" || q.Get("retired") == "true"}
	if s.unheardOf(r.Context(), req.Berth) {
		s.notice(w, r, http.StatusNotFound, "no-berth", "berth", req.Berth)
		return
	}
	answer, err := s.o.Lines.ListLines(r.Context(), req)
	switch {
	case r.Context().Err() != nil:
		return // nobody is there to answer
	case status.Code(err) == codes.InvalidArgument:
		s.notice(w, r, http.StatusBadRequest, "lines")
		return
	case err != nil:
		s.o.Log.Error("line records not read", "err", err)
		s.notice(w, r, http.StatusServiceUnavailable, "lines-unread")
		return
	}
	v := s.shellOf(r, "lines")
	words := s.words[v.Lang]
	v.Title = words.say("shell.page.lines")
	view := linesView{Berth: req.Berth, Ship: req.Ship, Known: known, Retired: req.IncludeRetired, Caveats: answer.Caveats, Other: linesAddress(req.Berth, req.Ship, !req.IncludeRetired)}
	if answer.BatchesMissed > 0 {
		view.Missed = words.figure("%.0f", answer.BatchesMissed)
	}
	for _, l := range answer.Lines {
		if one != "" {
			if l.Line == one && l.Rope == q.Get("rope") && strconv.FormatUint(uint64(l.Fitting), 10) == q.Get("fitting") {
				view.One = wholeRecordOf(words, l)
			}
			continue
		}
		if n := len(view.Ships); n == 0 || view.Ships[n-1].Ship != l.Ship {
			view.Ships = append(view.Ships, shipOfLines{Ship: l.Ship, Berth: l.Berth})
		}
		last := &view.Ships[len(view.Ships)-1]
		last.Lines = append(last.Lines, rowOf(words, l))
	}
	if one != "" && view.One == nil {
		s.notice(w, r, http.StatusNotFound, "no-line", "line", one)
		return
	}
	v.Page = view
	s.draw(w, http.StatusOK, "lines", v)
}

// ships are the names that the caller may choose from.
func (s *Site) ships(ctx context.Context) []string {
	if s.o.Ships == nil || s.o.Access != nil && !s.o.Access.SeesSite(ctx) {
		return nil
	}
	return s.o.Ships()
}

// asWritten is a ship's name as it is known, whatever its capitals.
func asWritten(name string, known []string) string {
	if i := slices.IndexFunc(known, func(k string) bool { return strings.EqualFold(k, strings.TrimSpace(name)) }); i >= 0 && !slices.Contains(known, name) {
		return known[i]
	}
	return name
}

func linesAddress(berth, ship string, retired bool) string {
	q := url.Values{}
	for key, value := range map[string]string{"berth": berth, "ship": ship} {
		if value != "" {
			q.Set(key, value)
		}
	}
	if retired {
		q.Set("retired", "true")
	}
	return "/lines?" + q.Encode()
}

func rowOf(w *words, l *hawserv1.LineRecord) lineOfShip {
	address := url.Values{"ship": {l.Ship}, "line": {l.Line}, "fitting": {strconv.FormatUint(uint64(l.Fitting), 10)}}
	if l.Rope != "" {
		address.Set("rope", l.Rope)
	}
	x := lineOfShip{
		Line: l.Line, Group: l.Group, Rope: l.Rope, Material: l.Material, InUse: l.InUse, Address: "/lines?" + address.Encode(),
		MBL: w.figure("%.0f", l.MblKn), Stays: l.Stays, UnderLoad: w.figure("%.1f", l.HoursUnderLoad), OverLimit: w.figure("%.2f", l.HoursAboveWorkingLoad),
		Cycles: w.figure("%.0f", l.Cycles), Large: w.figure("%.0f", l.CyclesAbove[1]),
		Miner: w.sum(l.Miner.GetSum()), StandIn: l.Miner.GetStandIn(),
		Slips: l.Slips, Snaps: l.SnapLoads, Overs: l.OverLimits, Parted: l.Partings, Rendered: w.figure("%.2f", l.RenderedM), Lacks: lacks(w, l.Quality),
	}
	if l.Rope == "" && l.Fitting > 1 {
		x.Fitting = l.Fitting
	}
	if len(l.Peaks) > 0 {
		p := l.Peaks[0]
		x.Peak, x.PeakShare, x.PeakAt = w.figure("%.0f", p.LoadKn), w.percent(0, p.ShareOfMbl), stamp(p.At.AsTime())
	}
	return x
}

// sum writes a Miner sum, which may be very small.
func (w *words) sum(v float64) string {
	if v == 0 {
		return "0"
	}
	return w.figure("%.1e", v)
}

// lacks says what a record does not have.
func lacks(w *words, q *hawserv1.DataQuality) (out []string) {
	if q.GetReadings() == 0 {
		return []string{w.say("lines.no-readings")}
	}
	add := func(key string, yes bool, n string) {
		if yes {
			out = append(out, w.say(key, "n", n))
		}
	}
	add("lines.gaps", q.GapHours >= 0.05, w.figure("%.1f", q.GapHours))
	add("lines.bad", q.Bad+q.OutOfRange > 0, w.figure("%.0f", q.Bad+q.OutOfRange))
	add("lines.late", q.Late > 0, w.figure("%.0f", q.Late))
	add("lines.fault", q.SensorFaultHours >= 0.05, w.figure("%.1f", q.SensorFaultHours))
	add("lines.cut", q.CutRanges > 0, w.figure("%.0f", q.CutRanges))
	add("lines.uncertain", q.Uncertain, "")
	return out
}
