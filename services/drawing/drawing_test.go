package drawing_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	"hawser/services/drawing"
)

var wind = drawing.Wind{Knots: 34, FromDeg: 60}

var conditions = assess.Conditions{WindMS: 34 * 1852.0 / 3600, WindFromDeg: 60}

func moored(t *testing.T, name string) *assess.Mooring {
	t.Helper()
	p, _, err := planfile.Load(filepath.Join("..", "..", "testdata", "plans", name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p.Ship.Name = `"Ariel" & <Puck>` // as hard on XML as a name can be
	return assess.New(p)
}

// element is one start tag.
type element struct {
	name string
	attr map[string]string
}

func (e element) num(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of <%s>: %v", name, e.name, err)
	}
	return v
}

// elements reads a drawing as XML: its tags and all its text.
func elements(t *testing.T, svg []byte) (all []element, text string) {
	t.Helper()
	var words strings.Builder
	for dec := xml.NewDecoder(bytes.NewReader(svg)); ; {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return all, words.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := element{tok.Name.Local, map[string]string{}}
			for _, a := range tok.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			all = append(all, e)
		case xml.CharData:
			words.Write(tok)
			words.WriteByte('\n')
		}
	}
}

// The mooring is drawn to scale: every line as long on the sheet, against its run
// on the plan, as every other.
func TestMooringIsToScale(t *testing.T) {
	for _, name := range []string{"tanker-12", "carrier-20", "coaster-8"} {
		m := moored(t, name)
		p := m.Plan()
		s, err := m.Steady(conditions)
		if err != nil {
			t.Fatal(err)
		}
		all, text := elements(t, drawing.Mooring(m, &s, wind))
		var lines []element
		for _, e := range all {
			if c := e.attr["class"]; e.name == "line" && e.attr["stroke-width"] != "" && (c == "below" || c == "approaching" || c == "over") {
				lines = append(lines, e)
			}
		}
		if len(lines) != len(p.Lines)+3 { // three in the key
			t.Fatalf("%s: %d lines drawn", name, len(lines))
		}
		cx, cy := p.Centre()
		sin, cos := math.Sincos(s.Pose.YawRad)
		var scale float64
		for i := range p.Lines {
			l := &p.Lines[i]
			dx, dy := l.Fairlead.X-cx, l.Fairlead.Y-cy
			run := math.Hypot(l.Hook.X-(cx+s.Pose.SurgeM+cos*dx-sin*dy), l.Hook.Y-(cy+s.Pose.SwayM+sin*dx+cos*dy))
			e := lines[i]
			paper := math.Hypot(e.num(t, "x1")-e.num(t, "x2"), e.num(t, "y1")-e.num(t, "y2"))
			if i == 0 {
				scale = paper / run
			}
			if math.Abs(paper-scale*run) > 0.3 {
				t.Errorf("%s: line %s is %.1f long on paper, want %.1f", name, l.ID, paper, scale*run)
			}
			if want := fmt.Sprintf("%s: %.0f kN, %.0f %%", l.ID, s.TensionKN[i], 100*s.TensionKN[i]/l.MBLkN); !strings.Contains(text, want) {
				t.Errorf("%s: no label %q", name, want)
			}
		}
		// Seen from above with the bow to the right, the water is to the left of her
		// heading with her starboard side to the quay: up the sheet, so hooks are below.
		below := lines[0].num(t, "y2") > lines[0].num(t, "y1")
		if below != (p.Side == mooring.Starboard) {
			t.Errorf("%s: drawn from below", name)
		}
	}
}

// What colour tells, a word and a dash tell too.
func TestOverloadIsToldWithoutColour(t *testing.T) {
	m := moored(t, "coaster-8")
	s, err := m.Steady(assess.Conditions{RiseFwdM: 4, RiseAftM: 4})
	if err != nil {
		t.Fatal(err)
	}
	svg := drawing.Mooring(m, &s, drawing.Wind{})
	_, text := elements(t, svg)
	for i, kN := range s.TensionKN {
		label := fmt.Sprintf("%s: %.0f kN, %.0f %%", m.Plan().Lines[i].ID, kN, 100*m.Share(&s, i))
		word := map[assess.Limit]string{assess.Approaching: " near", assess.WorkingLoad: " OVER", assess.Breaking: " BREAKS"}[m.Limit(i, kN)]
		if !strings.Contains(text, label+word+"\n") {
			t.Errorf("no label %q", label+word)
		}
	}
	for _, class := range []string{".approaching{", ".over{"} {
		_, rule, ok := strings.Cut(string(svg), class)
		rule, _, _ = strings.Cut(rule, "}")
		if !ok || !strings.Contains(rule, "stroke-dasharray") {
			t.Errorf("%s has no dash of its own: %q", class, rule)
		}
	}
}

// A limit from a direction stands at that bearing from the middle, as far out as
// the wind is strong against the rings.
func TestWeatherIsAtItsBearing(t *testing.T) {
	p := moored(t, "tanker-12").Plan()
	limits := make([]assess.WindLimit, 4)
	for k, v := range []float64{10, 20, 30, 40} {
		at := assess.Threshold{SpeedMS: v, Line: 0}
		limits[k] = assess.WindLimit{FromDeg: 90 * float64(k), Working: at, Brake: at, Fails: assess.Threshold{SpeedMS: math.Inf(1), Line: -1}}
	}
	all, _ := elements(t, drawing.Weather(p, limits, wind))
	var x, y, ring float64
	for _, e := range all {
		if e.attr["class"] == "grid" && e.name == "circle" {
			x, y = e.num(t, "cx"), e.num(t, "cy")
			ring = max(ring, e.num(t, "r"))
		}
	}
	scale := ring / 80 // 40 m/s are 77.8 kn, and the rim the next twenty
	for _, e := range all {
		if e.name != "path" || e.attr["class"] != "working" {
			continue
		}
		points := strings.FieldsFunc(e.attr["d"], func(r rune) bool { return strings.ContainsRune("MLZ", r) })
		if len(points) != 4 || !strings.HasSuffix(e.attr["d"], "Z") {
			t.Fatalf("curve %q", e.attr["d"])
		}
		for _, pt := range points {
			var px, py float64
			if _, err := fmt.Sscan(pt, &px, &py); err != nil {
				t.Fatal(err)
			}
			k := int(math.Round(math.Mod(math.Atan2(px-x, -(py-y))/(math.Pi/2)+4, 4))) % 4
			want := scale * limits[k].Working.SpeedMS * 3600 / 1852
			if got := math.Hypot(px-x, py-y); math.Abs(got-want) > 0.2 {
				t.Errorf("from %03.0f: %.1f from the middle, want %.1f", limits[k].FromDeg, got, want)
			}
		}
		return
	}
	t.Error("no curve")
}

// The same answers make the same bytes, with the caution and no talk of places
// that are safe; the hours have every line.
func TestDrawingsRepeatAndCaution(t *testing.T) {
	m := moored(t, "carrier-20")
	begin := time.Date(2026, 3, 1, 22, 30, 0, 0, time.UTC)
	make3 := func() [][]byte {
		s, err := m.Steady(conditions)
		if err != nil {
			t.Fatal(err)
		}
		var moments []assess.Moment
		for k := range 37 {
			up := 4 * math.Sin(float64(k)/12)
			moments = append(moments, assess.Moment{At: begin.Add(time.Duration(k) * 20 * time.Minute), LevelM: 1.6 + up, RiseFwdM: up, RiseAftM: up})
		}
		o := m.Ahead(conditions, moments)
		o.TensionKN[9] = nil // a moment without rest leaves a gap
		return [][]byte{drawing.Mooring(m, &s, wind), drawing.Weather(m.Plan(), m.WindLimits(conditions, 24), wind), drawing.Hours(m, &o)}
	}
	a, b := make3(), make3()
	for k := range a {
		if !bytes.Equal(a[k], b[k]) {
			t.Errorf("drawing %d differs the second time", k)
		}
		all, text := elements(t, a[k])
		if !strings.Contains(text, "The whole mooring deck is dangerous. Figures are estimates, not permission.") || strings.Contains(strings.ToLower(text), "safe") {
			t.Errorf("drawing %d says %q", k, text)
		}
		if k < 2 {
			continue
		}
		paths := 0
		for _, e := range all {
			if e.name == "path" && e.attr["fill"] == "none" && strings.Count(e.attr["d"], "L") > 3 { // no axis, no leader to a name
				paths++
			}
		}
		if paths != 2*len(m.Plan().Lines)+1 {
			t.Errorf("%d curves with one gap each, want two for each of %d lines and the water", paths, len(m.Plan().Lines))
		}
	}
}
