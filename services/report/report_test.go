package report_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/detect/reading"
	"hawser/ingest/simulate/archive"
	"hawser/ingest/store/tsdb"
	"hawser/services/alarm"
	"hawser/services/caution"
	"hawser/services/report"
	"hawser/services/stay"
)

// visit is a stay of a day's archive: a container ship in a gale.
type visit struct {
	*archive.Stay
	path   string // of the recording
	source *report.Recording
}

func newVisit(t *testing.T, berth string) *visit {
	t.Helper()
	all, err := archive.Stays(archive.Options{Seed: 1, Days: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all {
		if s.Plan.Berth != berth {
			continue
		}
		v := &visit{Stay: s}
		if _, v.path, err = s.Write(t.TempDir()); err != nil {
			t.Fatal(err)
		}
		if v.source, err = report.NewRecording(v.path, nil); err != nil {
			t.Fatal(err)
		}
		return v
	}
	t.Fatal("no such berth")
	return nil
}

func (v *visit) input() report.Input {
	return report.Input{Plan: v.Plan, Fingerprint: "0123456789abcdef", Source: v.source, Made: time.Date(2024, 2, 3, 8, 0, 0, 0, time.UTC), Version: "test",
		Stay: stay.Stay{ID: "box-quay-4-20240201T030200Z", Berth: v.Plan.Berth, Ship: v.Plan.Ship.Name, Arrival: v.Arrival, MadeFast: v.MadeFast, LetGo: v.LetGo,
			Departure: v.Departure, Newest: v.Departure, Plans: []stay.Use{{Plan: "0123456789abcdef", Since: v.Arrival}}}}
}

func reckon(t *testing.T, in report.Input) *report.Figures {
	t.Helper()
	f, err := report.Reckon(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// byHand is what the rows of a recording come to, worked out here from the CSV alone.
type byHand struct {
	least, most, sum, n float64
	mostAt              int64
	steps               map[int64][2]float64 // sum and count of ten seconds
}

func (v *visit) byHand(t *testing.T, from, to time.Time) map[string]*byHand {
	t.Helper()
	file, err := os.Open(v.path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	unzipped, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]*byHand{}
	rows := csv.NewReader(unzipped)
	rows.ReuseRecord = true
	for k := 0; ; k++ {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		ms, err := strconv.ParseInt(row[0], 10, 64)
		if err != nil {
			if k == 0 {
				continue // the header
			}
			t.Fatal(err)
		}
		x, err := strconv.ParseFloat(row[2], 64)
		if err != nil || math.IsNaN(x) || ms < from.UnixMilli() || ms >= to.UnixMilli() {
			continue
		}
		h := all[row[1]]
		if h == nil {
			h = &byHand{least: math.Inf(1), most: math.Inf(-1), steps: map[int64][2]float64{}}
			all[strings.Clone(row[1])] = h
		}
		h.least, h.sum, h.n = min(h.least, x), h.sum+x, h.n+1
		if x > h.most {
			h.most, h.mostAt = x, ms
		}
		s := h.steps[ms/10_000]
		h.steps[ms/10_000] = [2]float64{s[0] + x, s[1] + 1}
	}
}

// over is the time of the steps whose mean is at or over a value, s.
func (h *byHand) over(v float64) (s float64) {
	for _, step := range h.steps {
		if step[0]/step[1] >= v {
			s += 10
		}
	}
	return s
}

func TestStayInAGale(t *testing.T) {
	v := newVisit(t, "box-quay-4")
	f := reckon(t, v.input())
	t.Run("figures are of the recording", func(t *testing.T) { check(t, v, f) })
	t.Run("and the same from a store", func(t *testing.T) { fromStore(t, v, f) })
	t.Run("faults and responses", func(t *testing.T) { faultsAndResponses(t, v) })
}

// The figures are the same when the readings come out of a store, to the last byte of
// the page.
func fromStore(t *testing.T, v *visit, recorded *report.Figures) {
	db, err := tsdb.Open(tsdb.Options{Dir: t.TempDir(), Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := v.Blocks(func(b *reading.Block) error { return db.Append(t.Context(), v.Plan.Berth, b) }); err != nil {
		t.Fatal(err)
	}
	in := v.input()
	in.Source = report.Stored{Store: db, Berth: v.Plan.Berth}
	f := reckon(t, in)
	check(t, v, f)
	a, b := page(t, report.Compose(f)), page(t, report.Compose(recorded))
	if a != b {
		t.Errorf("the page from the store differs from the recording's at %s", differs(a, b))
	}
}

func differs(a, b string) string {
	for k := range min(len(a), len(b)) {
		if a[k] != b[k] {
			return fmt.Sprintf("%q against %q", a[max(0, k-80):min(len(a), k+80)], b[max(0, k-80):min(len(b), k+80)])
		}
	}
	return "the end"
}

func check(t *testing.T, v *visit, f *report.Figures) {
	t.Helper()
	near := func(what string, got, want, within float64) {
		t.Helper()
		if !(math.Abs(got-want) <= within) {
			t.Errorf("%s: %v, by the rows %v", what, got, want)
		}
	}
	rows := v.byHand(t, v.MadeFast, v.LetGo)
	most, over := 0.0, 0.0
	for i := range f.Lines {
		l := &f.Lines[i]
		h := rows[l.ID+"/tension"]
		near(l.ID+" least", l.Min, h.least, 1e-9)
		near(l.ID+" greatest", l.Max, h.most, 1e-9)
		near(l.ID+" mean", l.Mean, h.sum/h.n, 0.2) // of steps, the last of which may be short
		if ms := h.mostAt; l.MaxAt.UnixMilli() > ms || ms-l.MaxAt.UnixMilli() >= 10_000 {
			t.Errorf("%s greatest at %s, by the rows at %s", l.ID, l.MaxAt, time.UnixMilli(ms).UTC())
		}
		for b, share := range report.Bands() {
			near(fmt.Sprintf("%s over %v", l.ID, share), l.Above[b].Seconds(), h.over(share*l.MBLkN), 0)
		}
		near(l.ID+" over limit", l.OverLimit.Seconds(), h.over(0.5*l.MBLkN), 0) // fibre: 0.50 of MBL
		over += l.OverLimit.Seconds()
		most = max(most, h.most/l.MBLkN)
	}
	if over == 0 || most < 0.5 {
		t.Errorf("the gale loads no line over its limit, at most %v: nothing is tried", most)
	}
	if m := f.Moments[0]; math.Abs(m.KN-most*f.Lines[m.Line].MBLkN) > 1e-6 {
		t.Errorf("the worst moment is %+v, the highest share %v", m, most)
	}
	all := v.byHand(t, v.Arrival, v.Departure)
	near("wind", f.Wind.MaxMS, all["wind/speed"].most, 1e-9)
	near("mean wind", f.Wind.MeanMS, all["wind/speed"].sum/all["wind/speed"].n, 0.01)
	near("low water", f.Water.Lo, all["water/level"].least, 1e-9)
	near("high water", f.Water.Hi, all["water/level"].most, 1e-9)
	worked := 0
	for line, h := range rows {
		if strings.HasSuffix(line, "/brake") && h.least == 0 {
			worked++
		}
	}
	lines := map[int]bool{}
	for _, w := range f.Works {
		lines[w.Line] = true
	}
	if len(lines) != worked || worked == 0 {
		t.Errorf("%d lines were worked, by the rows %d", len(lines), worked)
	}
}

func page(t *testing.T, d *report.Document) string {
	t.Helper()
	html, err := report.HTML(d)
	if err != nil {
		t.Fatal(err)
	}
	return string(html)
}

// alarms are as a log has them: a parting that was acknowledged, a slip that nobody
// took on, a pin at fault for an hour.
func (v *visit) alarms() []alarm.State {
	at := func(h float64) time.Time { return v.MadeFast.Add(time.Duration(h * float64(time.Hour))) }
	s := func(c detect.Condition, line string, from, to float64, detail string) alarm.State {
		return alarm.State{ID: c.String() + line, Subject: alarm.Subject{Berth: v.Plan.Berth, Condition: c.String(), Line: line, Group: v.Plan.Lines[v.Plan.Line(line)].Group.String()},
			Priority: c.Priority(), Raised: at(from), Recorded: at(from), Cleared: at(to), Detail: detail}
	}
	parted := s(detect.LineParted, "4", 10, 11, `Line 4 parted <at> "412 kN"; clear the mooring deck of people.`)
	parted.Acknowledgements = []alarm.Acknowledgement{{Person: alarm.Person{By: "A. Mate", Side: alarm.Ship}, At: at(10).Add(95 * time.Second), Note: "all stations called"}}
	return []alarm.State{s(detect.SensorFault, "6", 2, 3, "The load pin of line 6 drifts."), s(detect.BrakeSlip, "5", 4, 5, "Line 5 paid out 0.3 m."), parted}
}

// A pin at fault counts for nothing in its line's loads, and the report says for how
// long; responses are told with who and how long after the call.
func faultsAndResponses(t *testing.T, v *visit) {
	in := v.input()
	in.Alarms = v.alarms()
	in.Zone, _ = time.LoadLocation("Europe/London")
	f := reckon(t, in)
	i := v.Plan.Line("6")
	if got := f.Lines[i].Faulty; got < time.Hour || got > time.Hour+20*time.Second {
		t.Errorf("line 6 left out for %s", got)
	}
	without := v.byHand(t, v.MadeFast, v.MadeFast.Add(2*time.Hour))["6/tension"]
	after := v.byHand(t, v.MadeFast.Add(3*time.Hour+10*time.Second), v.LetGo)["6/tension"]
	if want := max(without.most, after.most); math.Abs(f.Lines[i].Max-want) > 1e-9 {
		t.Errorf("line 6 at %v at most, without the hour %v", f.Lines[i].Max, want)
	}
	html := page(t, report.Compose(f))
	for _, want := range []string{"A. Mate, ship, after 1 min 35 s: all stations called", "by nobody", "Line 4 parted.", "A slip was told once, on line 5.",
		"A load pin was at fault once, on line 6.", "Line 4 parted &lt;at&gt;", caution.Deck, "Emergencies and alarms raised: 2; acknowledged: 1. Half of these were within 1 min 35 s of the call"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(strings.ToLower(html), "safe") {
		t.Error("the page says that something is safe")
	}
}

// The page is well-formed apart from what HTML leaves open, refers to nothing outside
// and is the same again.
func TestPageNeedsNothingElse(t *testing.T) {
	v := newVisit(t, "inner-quay-5")
	d := report.Compose(reckon(t, v.input()))
	html := page(t, d)
	if html != page(t, report.Compose(reckon(t, v.input()))) {
		t.Error("differs the second time")
	}
	if m := regexp.MustCompile(`(?i)(src|href)\s*=|url\(|@import|<script`).FindString(html); m != "" {
		t.Errorf("the page refers to something: %q", m)
	}
	dec := xml.NewDecoder(strings.NewReader(html))
	dec.Strict, dec.AutoClose, dec.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	depth := 0
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch tok.(type) {
		case xml.StartElement:
			depth++
		case xml.EndElement:
			depth--
		}
	}
	if depth != 0 {
		t.Errorf("%d elements are left open", depth)
	}
}

// A snap over the limit that no step's mean comes to is no time over it, and not nothing.
func TestAPeakOverTheLimitIsToldAsSuch(t *testing.T) {
	v := newVisit(t, "inner-quay-5")
	f := reckon(t, v.input())
	for i := range f.Lines {
		f.Lines[i].Max, f.Lines[i].OverLimit = 0.4*f.Lines[i].WorkingKN, 0
	}
	if html := page(t, report.Compose(f)); strings.Contains(html, "peaks only") || !strings.Contains(html, "no line<") {
		t.Error("peaks over the limit are told where there is none")
	}
	f.Lines[2].Max = f.Lines[2].WorkingKN + 1
	if html := page(t, report.Compose(f)); !strings.Contains(html, "peaks only") || strings.Contains(html, "no line<") {
		t.Error("a peak over the limit is told as nothing over it")
	}
}

// A PDF is bytes that begin and end as ISO 32000 has it, the same again, with its fonts
// in it and a page for every page that it says there is.
func TestPDF(t *testing.T) {
	v := newVisit(t, "inner-quay-5")
	f := reckon(t, v.input())
	pdf, err := report.PDF(report.Compose(f), f.Made)
	if err != nil {
		t.Fatal(err)
	}
	again, err := report.PDF(report.Compose(f), f.Made)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(pdf, again) {
		t.Error("differs the second time")
	}
	if !bytes.HasPrefix(pdf, []byte("%PDF-1.")) || !bytes.HasSuffix(bytes.TrimSpace(pdf), []byte("%%EOF")) {
		t.Errorf("begins %q, ends %q", pdf[:8], pdf[len(pdf)-8:])
	}
	if n := bytes.Count(pdf, []byte("/FontFile2")); n != 2 {
		t.Errorf("%d fonts in it", n)
	}
	pages := len(regexp.MustCompile(`/Type /Page\b`).FindAll(pdf, -1))
	if pages < 4 || !bytes.Contains(pdf, []byte(fmt.Sprintf("/Count %d", pages))) {
		t.Errorf("%d pages", pages)
	}
}

func TestNothingToReportOn(t *testing.T) {
	v := newVisit(t, "inner-quay-5")
	in := v.input()
	in.Stay = report.Cut(in.Stay, v.Departure.Add(-time.Second), time.Time{})
	if _, err := report.Reckon(context.Background(), in); !errors.Is(err, report.ErrNothing) {
		t.Errorf("%v", err)
	}
	in = v.input()
	in.Stay.Arrival = in.Stay.Departure.AddDate(0, 0, -61)
	if _, err := report.Reckon(context.Background(), in); !errors.Is(err, report.ErrLong) {
		t.Errorf("%v", err)
	}
}

// thinned is a store that has let the readings themselves go.
type thinned struct{ report.Source }

func (thinned) Plain(context.Context, reading.Kind, time.Time, time.Time) ([]report.Course, error) {
	return nil, nil
}
func (thinned) Each(context.Context, reading.Kind, time.Time, time.Time, func(*report.Course)) error {
	return nil
}

// Where only the steps are left there is still a report, which says what it lacks.
func TestReportOfStepsAlone(t *testing.T) {
	v := newVisit(t, "inner-quay-5")
	whole := reckon(t, v.input())
	in := v.input()
	in.Source = thinned{in.Source}
	f := reckon(t, in)
	for i := range f.Lines {
		if f.Lines[i].Max != whole.Lines[i].Max || f.Lines[i].OverLimit != whole.Lines[i].OverLimit {
			t.Errorf("line %s: %v, whole %v", f.Lines[i].ID, f.Lines[i].Max, whole.Lines[i].Max)
		}
	}
	if len(f.Moments) == 0 || len(f.Moments[0].Loads[0].Time) == 0 {
		t.Error("the worst moment is not drawn")
	}
	html := page(t, report.Compose(f))
	for _, want := range []string{"their cycles cannot be counted any more", "How often load pins were read is not to be told"} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}
