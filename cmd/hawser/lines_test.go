package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

// linesOf asks a server for its line records, by the command that people use.
func (s *server) linesOf(args ...string) *hawserv1.ListLinesResponse {
	s.t.Helper()
	out, _ := hawser(s.t.(*testing.T), append([]string{"lines", "--server", "http://" + s.http, "--json"}, args...)...)
	answer := &hawserv1.ListLinesResponse{}
	if err := protojson.Unmarshal([]byte(out), answer); err != nil {
		s.t.Fatal(err)
	}
	return answer
}

// linesDone waits until a server's records have as many readings of load pins, and
// all that was told about lines.
func (s *server) linesDone(readings float64, told []told) *hawserv1.ListLinesResponse {
	s.t.Helper()
	raised, over := 0.0, 0.0 // hours of sensor faults that are over
	since := map[string]time.Time{}
	for _, c := range told {
		at, err := time.Parse(time.RFC3339Nano, c.Time)
		if err != nil {
			s.t.Fatal(err)
		}
		switch fault := c.Condition == "sensor-fault"; {
		case c.Line == "":
		case c.State == "raised" && (fault || strings.Contains("brake-slip snap-load over-limit line-parted", c.Condition)):
			raised++
			if fault {
				since[c.Line] = at
			}
		case fault:
			over += at.Sub(since[c.Line]).Hours()
			delete(since, c.Line)
		}
	}
	var answer *hawserv1.ListLinesResponse
	waittest.Until(s.t, "the line records", func() error {
		answer = s.linesOf()
		have, counted, hours := 0.0, 0.0, over
		for _, l := range answer.Lines {
			q := l.Quality
			have += q.Readings + q.Bad + q.OutOfRange + q.Late
			counted += float64(l.Slips + l.SnapLoads + l.OverLimits + l.Partings + q.SensorFaults)
			hours -= q.SensorFaultHours
			if at, open := since[l.Line]; open {
				hours += l.LastAt.AsTime().Sub(at).Hours()
			}
		}
		if have != readings || counted != raised || math.Abs(hours) > 1e-9 {
			return fmt.Errorf("%g readings of %g, %g alarms of %g, %g h of sensor faults off", have, readings, counted, raised, hours)
		}
		return nil
	})
	return answer
}

// pin is what a recording says of a load pin.
type pin struct {
	good, bad float64
	most      float64 // kN
	at        int64
	loads     []float64 // kN
}

// pins reads the load pins' readings from a recording.
func pins(t *testing.T, path string) (out map[string]*pin, all float64) {
	t.Helper()
	out = map[string]*pin{}
	for block := range blocksOf(t, path) {
		for _, s := range block.Series {
			if s.Channel.Kind != reading.Tension {
				continue
			}
			p := out[s.Channel.Line]
			if p == nil {
				p = &pin{}
				out[s.Channel.Line] = p
			}
			all += float64(s.Len())
			for i, v := range s.Value {
				if s.QualityAt(i) != reading.Good {
					p.bad++
					continue
				}
				p.loads = append(p.loads, v)
				if p.good++; v > p.most {
					p.most, p.at = v, s.Time[i]
				}
			}
		}
	}
	return out, all
}

// rainflow counts a line's cycles anew from its loads, as shares: whole ones by the
// four-point rule of a reader that has all reversals (Amzallag and others, Int. J.
// Fatigue 16, 1994), what is left as half cycles, those under a gate left out.
func rainflow(loads []float64, mbl, gate float64, cycle func(size, mean, n float64)) {
	var r []float64
	for _, load := range loads {
		x := max(load, 0) / mbl
		switch n := len(r); {
		case n > 0 && x == r[n-1]:
		case n > 1 && (r[n-1]-r[n-2])*(x-r[n-1]) > 0:
			r[n-1] = x
		default:
			r = append(r, x)
		}
	}
	count := func(a, b, n float64) {
		if size := math.Abs(a - b); size >= gate {
			cycle(size, (a+b)/2, n)
		}
	}
	for i := 0; i+3 < len(r); {
		inner := math.Abs(r[i+2] - r[i+1])
		if inner > math.Abs(r[i+1]-r[i]) || inner > math.Abs(r[i+3]-r[i+2]) {
			i++
			continue
		}
		count(r[i+1], r[i+2], 1)
		r = slices.Delete(r, i+1, i+3)
		i = max(i-2, 0)
	}
	for i := 1; i < len(r); i++ {
		count(r[i-1], r[i], 0.5)
	}
}

// cyclesOf holds a record's cycles and their Miner sum against those counted anew.
func cyclesOf(t *testing.T, l *hawserv1.LineRecord, loads []float64) {
	t.Helper()
	cycles, over, sum := 0.0, 0.0, 0.0
	rainflow(loads, l.MblKn, 0.005, func(size, mean, n float64) {
		cycles += n
		if size >= 0.1 {
			over += n
		}
		sum += n * math.Pow(size, l.Miner.M) / math.Pow(10, l.Miner.LogK+l.Miner.MeanSlope*mean)
	})
	if l.Cycles != cycles || l.CyclesAbove[1] != over || math.Abs(l.Miner.Sum/sum-1) > 0.05 {
		t.Errorf("line %s: %g cycles, %g over 0.1, Miner sum %g; counted anew %g, %g and %g", l.Line, l.Cycles, l.CyclesAbove[1], l.Miner.Sum, cycles, over, sum)
	}
}

// The records of a recording that was sent over a server that was killed again and
// again are those of one that was not, to the last figure, and what they say of
// readings and peaks is what is in the recording.
func TestLineRecordsOutliveTheServer(t *testing.T) {
	t.Parallel()
	tape := newTape(t, "tanker-12", 7, nil)
	want, all := pins(t, tape.path)

	whole := startServe(t, t.TempDir())
	tape.send(t, whole.grpc)
	once := whole.linesDone(all, tape.told)
	for _, l := range once.Lines {
		p := want[l.Line]
		q := l.Quality
		if q.Readings != p.good || q.Bad != p.bad || q.Late+q.OutOfRange != 0 || l.Peaks[0].LoadKn != p.most || l.Peaks[0].At.AsTime().UnixNano() != p.at {
			t.Errorf("line %s: %v, peak %v; the recording has %+v", l.Line, q, l.Peaks[0], *p)
		}
		cyclesOf(t, l, p.loads)
		if sum := l.HoursRead + q.GapHours; math.Abs(sum-l.LastAt.AsTime().Sub(l.FirstAt.AsTime()).Hours()) > 1e-9 {
			t.Errorf("line %s: %g h read and not read, of %s", l.Line, sum, l.LastAt.AsTime().Sub(l.FirstAt.AsTime()))
		}
	}
	table, _ := hawser(t, "lines", "--server", "http://"+whole.http, "--berth", tape.berth)
	if !strings.Contains(table, northShip+", at north-jetty-1") || !strings.Contains(table, "evidence, not permission") || strings.Count(table, "\n") < 14 {
		t.Errorf("table:\n%s", table)
	}
	if n := strings.Count(table, "parted 1") + strings.Count(table, "slip 1"); n != 2 { // the story's
		t.Errorf("what was raised about lines is in %d rows, want 2:\n%s", n, table)
	}
	one := once.Lines[slices.IndexFunc(once.Lines, func(l *hawserv1.LineRecord) bool { return len(l.Peaks) > 0 && l.HoursUnderLoad > 0 })]
	page, err := whole.get("/lines?berth=" + tape.berth)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		">" + one.Line + "</a>", fmt.Sprintf(">%.1f</td>", one.HoursUnderLoad), fmt.Sprintf(">%.0f <span", one.Peaks[0].LoadKn), fmt.Sprintf(">%.0f</td>", one.Cycles),
		"evidence, not permission",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not have %q", want)
		}
	}

	data := t.TempDir()
	s := startServe(t, data)
	for kill := range 3 {
		before := time.Duration(kill+1) * 40 * time.Second
		sending := make(chan struct{})
		go func() {
			defer close(sending)
			_ = run(t.Context(), []string{"send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--pace", "400", "--give-up-after", "1s", tape.path}, streams{out: io.Discard, err: io.Discard})
		}()
		waittest.Until(t, "the records to get somewhere", func() error {
			for _, l := range s.linesOf().Lines {
				if l.LastAt != nil && l.LastAt.AsTime().Sub(l.FirstAt.AsTime()) >= before {
					return nil
				}
			}
			return errors.New("not yet")
		})
		s.kill()
		<-sending
		s = startServe(t, data)
	}
	tape.send(t, s.grpc)
	again := s.linesDone(all, tape.told)
	if _, err := s.stop(); err != nil {
		t.Fatal(err)
	}
	s = startServe(t, data)
	after := s.linesDone(all, tape.told)
	for i, got := range []*hawserv1.ListLinesResponse{again, after} {
		if !proto.Equal(got, once) {
			for k := range once.Lines {
				if !proto.Equal(got.Lines[k], once.Lines[k]) {
					t.Errorf("answer %d: %v\nwant %v", i, got.Lines[k], once.Lines[k])
					break
				}
			}
			t.Errorf("answer %d differs: %g to %g", i, got.BatchesMissed, got.Position)
		}
	}
}

// A settings file's curve goes before the one built in, and a wrong one is refused
// with its place.
func TestCurvesOfTheSettings(t *testing.T) {
	cfg := defaultConfig()
	cfg.Curves = curves{"hmpe": {M: 9, LogK: 1, DesignFactor: 5, Source: "tests of the maker"}}
	if err := cfg.validate(); err != nil {
		t.Fatal(err)
	}
	for want, wrong := range map[string]curves{
		"curves.hmpe.m: 0 must be from 1 to 30":     {"hmpe": {LogK: 1, DesignFactor: 5, Source: "x"}},
		"curves.hmpe.source: must say":              {"hmpe": {M: 9, LogK: 1, DesignFactor: 5}},
		`curves: "string" is no material of a line`: {"string": {M: 9, LogK: 1, DesignFactor: 5, Source: "x"}},
	} {
		cfg.Curves = wrong
		if err := cfg.validate(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}
