package alarm_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"hawser/detect"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

// The server's own conditions that explain silence, as the server names them.
const (
	berthSilent = "berth-silent"
	clockAhead  = "clock-ahead"
)

// port is a berth of so many load pins, all on one gateway unless it is told
// otherwise, whose pins fall silent and come back.
type port struct {
	t     *testing.T
	store *alarmtest.Records
	log   *alarm.Log
	clock *alarmtest.Clock
	pins  map[string]string // source by line
	at    uint64            // journal position
}

func newPort(t *testing.T, pins int) *port {
	t.Helper()
	p := &port{t: t, store: &alarmtest.Records{}, clock: alarmtest.NewClock(second(10)), pins: map[string]string{}}
	p.on("gate", numbers(1, pins)...)
	p.open()
	return p
}

// on has lines be sent by a gateway from now on.
func (p *port) on(gateway string, lines ...string) {
	for _, line := range lines {
		p.pins[line] = gateway
	}
}

func (p *port) open() {
	o := options(p.store)
	o.Now, o.Pins = p.clock.Now, func(string) map[string]string { return p.pins }
	o.Unheard, o.Clocks = berthSilent, []string{clockAhead}
	p.log = open(p.t, o)
}

// reopen is what a kill and a start come to: all there is is the log of records.
func (p *port) reopen() {
	p.ok(p.log.Close())
	p.open()
}

func (p *port) ok(err error) {
	p.t.Helper()
	must(p.t, err)
}

// silent has pins fall silent at a second of the tests' day, told ten seconds later.
func (p *port) silent(at int, lines ...string) {
	p.t.Helper()
	p.fail(detect.Silence, at, lines...)
}

// still has pins come to a standstill together, told ten seconds later.
func (p *port) still(at int, lines ...string) {
	p.t.Helper()
	p.fail(detect.AllStill, at, lines...)
}

func (p *port) fail(by detect.Measure, at int, lines ...string) {
	p.t.Helper()
	var changes []detect.Change
	for _, line := range lines {
		c := change(detect.SensorFault, line, true, at+10)
		c.By, c.Onset = by, second(at).UnixNano()
		changes = append(changes, c)
	}
	p.apply(changes)
}

func (p *port) back(at int, lines ...string) {
	p.t.Helper()
	var changes []detect.Change
	for _, line := range lines {
		changes = append(changes, change(detect.SensorFault, line, false, at))
	}
	p.apply(changes)
}

func (p *port) apply(changes []detect.Change) {
	p.t.Helper()
	p.at++
	p.ok(p.log.Apply(p.t.Context(), "east-3", p.at, changes))
}

// pass lets time pass, second by second.
func (p *port) pass(seconds int) {
	p.t.Helper()
	for range seconds {
		p.clock.Move(time.Second)
		p.ok(p.log.Tick(p.t.Context()))
	}
}

// calling is what calls now, worst first, as "condition line" or "condition gateway".
func (p *port) calling() []string {
	var out []string
	all, _ := p.log.List("", false)
	for i := range all {
		if all[i].Calls() {
			out = append(out, strings.TrimSpace(all[i].Condition+" "+strings.TrimPrefix(all[i].Place(), "-")))
		}
	}
	return out
}

// called is how often people were called since the beginning.
func (p *port) called() int {
	n := 0
	for _, r := range p.records() {
		if r.Transition == alarm.Unsuppressed || r.Transition == alarm.Raised && !r.Quiet {
			n++
		}
	}
	return n
}

func (p *port) records() []alarm.Record { return collect(p.t, p.log) }

func (p *port) calls(want ...string) {
	p.t.Helper()
	if got := p.calling(); !slices.Equal(got, want) {
		p.t.Fatalf("calling: %q, want %q", got, want)
	}
}

func numbers(from, to int) []string {
	var out []string
	for n := from; n <= to; n++ {
		out = append(out, strconv.Itoa(n))
	}
	return out
}

// What calls, in the ways in which load pins fall silent or still. The suppression of what
// one alarm calls for is ISA-18.2's "suppressed by design"; what counts as one cause
// is common practice, no source.
func TestOneCauseOneCall(t *testing.T) {
	tests := map[string]func(*testing.T, *port){
		"one pin waits three seconds and calls for itself": func(_ *testing.T, p *port) {
			p.silent(0, "7")
			p.pass(2)
			p.calls()
			p.pass(2)
			p.calls("sensor-fault 7")
		},
		"one pin that comes back at once calls nobody": func(t *testing.T, p *port) {
			p.silent(0, "7")
			p.pass(1)
			p.back(12, "7")
			p.pass(60)
			p.calls()
			if n := p.called(); n != 0 {
				t.Errorf("people were called %d times", n)
			}
		},
		"a gateway that stops is one alarm until its pins are back": func(t *testing.T, p *port) {
			p.silent(0, numbers(1, 6)...)
			p.pass(1)
			p.silent(1, numbers(7, 20)...)
			p.pass(600)
			p.calls("pins-silent gate")
			all, _ := p.log.List("east-3", false)
			g := all[0]
			if g.Value != 20 || !g.Onset.Equal(second(0)) || g.Priority != detect.Alarm ||
				!strings.HasPrefix(g.Detail, "20 load pins of berth east-3, on gateway gate, stopped sending at 04:05:06 UTC, lines 1, 2, 3") {
				t.Errorf("alarm: %+v", g)
			}
			for _, s := range all[1:] {
				if s.Lifecycle() != alarm.SuppressedByDesign || s.Suppressed.Under != g.ID {
					t.Errorf("line %s: lifecycle %d under %+v", s.Line, s.Lifecycle(), s.Suppressed)
				}
			}
			p.back(700, numbers(1, 20)...)
			p.pass(1)
			p.calls()
			if n := p.called(); n != 1 {
				t.Errorf("people were called %d times", n)
			}
		},
		"pins that stand still together are one alarm until they move": func(t *testing.T, p *port) {
			p.on("stern", numbers(11, 20)...)
			p.still(0, numbers(1, 20)...)
			p.pass(600)
			p.calls("pins-still")
			all, _ := p.log.List("east-3", false)
			if g := all[0]; g.Value != 20 || !g.Onset.Equal(second(0)) || g.Priority != detect.Alarm ||
				!strings.HasPrefix(g.Detail, "20 load pins of berth east-3, on gateways gate, stern, have read nothing new since 04:05:06 UTC, lines 1, 2, 3") ||
				!strings.HasSuffix(g.Detail, "; what is sent is not what the lines carry: watch these lines by the ship's own means; look first at what these gateways share and what they read from.") {
				t.Errorf("alarm: %+v", g)
			}
			p.reopen()
			p.pass(10)
			p.calls("pins-still")
			p.back(700, append(numbers(1, 12), numbers(14, 20)...)...)
			p.pass(10)
			p.calls("sensor-fault 13")
			p.back(720, "13")
			p.pass(1)
			p.calls()
			if n := p.called(); n != 2 {
				t.Errorf("people were called %d times", n)
			}
		},
		"pins that stand still and pins that are silent are two causes": func(_ *testing.T, p *port) {
			p.on("stern", numbers(11, 20)...)
			p.silent(0, numbers(11, 20)...)
			p.still(1, numbers(1, 10)...)
			p.pass(10)
			p.calls("pins-silent stern", "pins-still gate")
			p.back(100, numbers(11, 20)...)
			p.pass(1)
			p.calls("pins-still gate")
		},
		"what explains silence does not explain a standstill": func(_ *testing.T, p *port) {
			p.ok(p.log.RaiseOwn(p.t.Context(), alarm.Own{Berth: "east-3", Condition: clockAhead, Priority: detect.Alarm}))
			p.still(0, numbers(1, 20)...)
			p.pass(10)
			p.calls("pins-still gate", "clock-ahead")
		},
		"a line that stays away calls for itself once the others are back": func(t *testing.T, p *port) {
			p.silent(0, numbers(1, 20)...)
			p.pass(20)
			p.back(60, append(numbers(1, 12), numbers(14, 19)...)...)
			p.pass(3)
			p.calls("pins-silent gate")
			p.back(62, "20") // is only a little later
			p.pass(6)
			p.calls("sensor-fault 13")
			p.pass(600)
			p.calls("sensor-fault 13")
			p.back(700, "13")
			p.calls()
			if n := p.called(); n != 2 {
				t.Errorf("people were called %d times", n)
			}
		},
		"half of a gateway, then the other half": func(t *testing.T, p *port) {
			p.silent(0, numbers(1, 10)...)
			p.pass(60)
			p.calls("pins-silent gate")
			p.silent(60, numbers(11, 20)...)
			p.pass(10)
			p.calls("pins-silent gate")
			all, _ := p.log.List("east-3", false)
			if g := all[0]; g.Value != 20 || !strings.HasPrefix(g.Detail, "10 load pins of berth east-3, on gateway gate, stopped sending at 04:06:06 UTC, 10 more before them, lines 11,") {
				t.Errorf("alarm: %+v", g)
			}
			if n := p.called(); n != 2 {
				t.Errorf("people were called %d times", n)
			}
			p.back(200, numbers(1, 20)...)
			p.pass(1)
			p.calls()
		},
		"each of four gateways that stops is one alarm, to its own end": func(t *testing.T, p *port) {
			p.on("bow", numbers(1, 8)...)
			p.on("stern", numbers(9, 15)...)
			p.on("spring-fwd", "16", "17", "18")
			p.on("spring-aft", "19", "20")
			p.silent(0, "19", "20")
			p.pass(10)
			p.calls("pins-silent spring-aft")
			p.silent(20, "16", "17", "18")
			p.pass(10)
			p.silent(40, numbers(1, 8)...)
			p.pass(10)
			p.calls("pins-silent bow", "pins-silent spring-fwd", "pins-silent spring-aft")
			all, _ := p.log.List("east-3", false)
			for i, want := range []float64{8, 3, 2} {
				if g := all[i]; g.Value != want || !strings.Contains(g.Detail, "on gateway "+g.Source+",") || !strings.HasSuffix(g.Detail, "look first at this gateway, its supply, link and clock.") {
					t.Errorf("alarm: %+v", g)
				}
			}
			p.back(60, "16", "17", "18")
			p.pass(1)
			p.calls("pins-silent bow", "pins-silent spring-aft")
			p.back(70, numbers(1, 7)...)
			p.pass(10)
			p.calls("pins-silent spring-aft", "sensor-fault 8")
			p.back(90, "8", "19", "20")
			p.pass(1)
			p.calls()
			if n := p.called(); n != 4 {
				t.Errorf("people were called %d times", n)
			}
		},
		"a gateway of one line is told as the line": func(_ *testing.T, p *port) {
			p.on("lone", "20")
			p.silent(0, "20")
			p.pass(5)
			p.calls("sensor-fault 20")
		},
		"fewer than half of a gateway are told one by one": func(_ *testing.T, p *port) {
			p.on("bow", numbers(1, 8)...)
			p.on("stern", numbers(9, 20)...)
			p.silent(0, "1", "2", "3")
			p.pass(5)
			p.calls("sensor-fault 1", "sensor-fault 2", "sensor-fault 3")
		},
		"gateways that stop together, half of the berth and more, are one alarm for what they share": func(t *testing.T, p *port) {
			p.on("bow", numbers(1, 8)...)
			p.on("stern", numbers(9, 14)...)
			p.on("spring", numbers(15, 18)...)
			p.on("breast", "19", "20")
			p.silent(0, numbers(1, 8)...)
			p.silent(1, numbers(9, 14)...)
			p.silent(2, numbers(15, 18)...)
			p.pass(10)
			p.calls("pins-silent")
			all, _ := p.log.List("east-3", false)
			if g := all[0]; g.Value != 18 || !strings.Contains(g.Detail, ", on gateways bow, spring, stern, stopped sending") ||
				!strings.HasSuffix(g.Detail, "look first at what these gateways share, supply, network and clock.") {
				t.Errorf("alarm: %+v", g)
			}
			p.back(60, numbers(1, 14)...) // one of them stays away
			p.pass(10)
			p.calls("pins-silent spring")
			p.back(90, numbers(15, 18)...)
			p.pass(1)
			p.calls()
			if n := p.called(); n != 2 {
				t.Errorf("people were called %d times", n)
			}
		},
		"a gateway for each pin": func(_ *testing.T, p *port) {
			for _, line := range numbers(1, 20) {
				p.on("pin-"+line, line)
			}
			p.silent(0, "4")
			p.pass(10)
			p.calls("sensor-fault 4")
			p.silent(20, numbers(5, 20)...)
			p.pass(10)
			p.calls("pins-silent", "sensor-fault 4")
		},
		"two gateways of few lines that stop together are told each": func(_ *testing.T, p *port) {
			p.on("fwd", "1", "2", "3")
			p.on("aft", "4", "5", "6")
			p.silent(0, numbers(1, 6)...)
			p.pass(10)
			p.calls("pins-silent aft", "pins-silent fwd")
		},
		"pins that have never been sent are told as one": func(t *testing.T, p *port) {
			p.on("", "18", "19", "20")
			p.silent(0, "18", "19", "20")
			p.pass(10)
			p.calls("pins-silent")
			all, _ := p.log.List("east-3", false)
			if !strings.HasPrefix(all[0].Detail, "3 load pins of berth east-3 stopped sending at") || !strings.HasSuffix(all[0].Detail, "look first at their gateway, its supply, link and clock.") {
				t.Errorf("alarm: %+v", all[0])
			}
		},
		"a gateway that is put in the place of another takes over its lines": func(_ *testing.T, p *port) {
			p.on("old", numbers(1, 6)...)
			p.silent(0, numbers(1, 6)...)
			p.pass(10)
			p.calls("pins-silent old")
			p.on("new", numbers(1, 6)...)
			p.back(60, numbers(1, 6)...)
			p.pass(1)
			p.calls()
			p.silent(80, numbers(1, 6)...)
			p.pass(10)
			p.calls("pins-silent new")
		},
		"a shelf on one gateway is not on another": func(t *testing.T, p *port) {
			p.on("bow", "1", "2", "3")
			p.silent(0, "1", "2", "3")
			p.pass(10)
			all, _ := p.log.List("east-3", false)
			_, err := p.log.Shelve(t.Context(), all[0].ID, foreman, "Gateway is being changed.", time.Hour)
			must(t, err)
			p.calls()
			p.silent(30, numbers(4, 20)...)
			p.pass(10)
			p.calls("pins-silent gate")
			must(t, p.log.EndHold(t.Context(), alarm.Subject{Berth: "east-3", Condition: alarm.PinsSilent, Source: "bow"}, foreman, ""))
			p.calls("pins-silent gate", "pins-silent bow")
		},
		"a server that is down while the others are told": func(t *testing.T, p *port) {
			p.silent(0, numbers(1, 6)...)
			p.clock.Move(time.Minute)
			p.reopen()
			p.pass(1)
			p.silent(0, numbers(7, 20)...)
			p.pass(10)
			p.calls("pins-silent gate")
			if n := p.called(); n != 1 {
				t.Errorf("people were called %d times", n)
			}
		},
		"one more pin a while after is its own": func(_ *testing.T, p *port) {
			p.silent(0, numbers(1, 18)...)
			p.pass(60)
			p.silent(60, "19")
			p.pass(5)
			p.calls("pins-silent gate", "sensor-fault 19")
		},
		"fewer than half are told one by one": func(_ *testing.T, p *port) {
			p.silent(0, numbers(1, 9)...)
			p.pass(5)
			p.calls("sensor-fault 1", "sensor-fault 2", "sensor-fault 3", "sensor-fault 4", "sensor-fault 5",
				"sensor-fault 6", "sensor-fault 7", "sensor-fault 8", "sensor-fault 9")
		},
		"pins with another fault do not count": func(_ *testing.T, p *port) {
			for _, line := range numbers(1, 12) {
				p.apply(raised(detect.SensorFault, line, 0))
			}
			p.silent(60, numbers(13, 16)...)
			p.pass(5)
			if got := p.calling(); len(got) != 13 || got[0] != "pins-silent gate" {
				p.t.Fatalf("calling: %q", got)
			}
		},
		"a berth that is heard no more explains its pins": func(t *testing.T, p *port) {
			p.ok(p.log.RaiseOwn(t.Context(), alarm.Own{Berth: "east-3", Condition: berthSilent, Priority: detect.Alarm}))
			p.pass(50)
			p.silent(-8, numbers(1, 20)...) // told when readings come again
			p.pass(5)
			p.calls(berthSilent)
			p.ok(p.log.ClearOwn(t.Context(), "east-3", berthSilent))
			p.pass(25)
			p.back(80, append(numbers(1, 4), numbers(6, 20)...)...)
			p.calls()
			p.pass(30)
			p.calls("sensor-fault 5")
			if n := p.called(); n != 2 {
				t.Errorf("people were called %d times", n)
			}
		},
		"a clock that is set ahead explains the pins that fell silent with it": func(t *testing.T, p *port) {
			p.ok(p.log.RaiseOwn(t.Context(), alarm.Own{Berth: "east-3", Condition: clockAhead, Priority: detect.Alarm}))
			p.pass(15)
			p.silent(0, numbers(1, 20)...)
			p.pass(10)
			p.calls(clockAhead)
		},
		"a clock that has been ahead for long does not": func(t *testing.T, p *port) {
			p.ok(p.log.RaiseOwn(t.Context(), alarm.Own{Berth: "east-3", Condition: clockAhead, Priority: detect.Alarm}))
			p.pass(3600)
			p.silent(3590, numbers(1, 20)...)
			p.pass(10)
			p.calls("pins-silent gate", clockAhead)
		},
		"acknowledging or shelving the alarm is not of its lines": func(t *testing.T, p *port) {
			p.silent(0, numbers(1, 20)...)
			p.pass(10)
			all, _ := p.log.List("east-3", false)
			_, err := p.log.Acknowledge(t.Context(), all[0].ID, mate, "")
			must(t, err)
			_, err = p.log.Shelve(t.Context(), all[0].ID, foreman, "Gateway is being changed.", time.Hour)
			must(t, err)
			p.calls()
			p.back(60, numbers(1, 19)...)
			p.pass(10)
			p.calls("sensor-fault 20")
			all, _ = p.log.List("east-3", false)
			if s := all[0].Lifecycle(); s != alarm.ActiveUnacknowledged {
				t.Errorf("line 20 is in state %d", s)
			}
		},
		"a shelf goes before a suppression": func(t *testing.T, p *port) {
			_, err := p.log.TakeOutOfService(t.Context(), alarm.Subject{Berth: "east-3", Line: "3"}, mate, "Pin is being changed.")
			must(t, err)
			p.silent(0, numbers(1, 20)...)
			p.pass(10)
			all, _ := p.log.List("east-3", false)
			i := slices.IndexFunc(all, func(s alarm.State) bool { return s.Line == "3" })
			if s := all[i].Lifecycle(); s != alarm.OutOfService {
				t.Errorf("line 3 is in state %d", s)
			}
			p.calls("pins-silent gate")
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) { test(t, newPort(t, 20)) })
	}
}

// An alarm log whose process is killed after any of its records goes on to the same
// state: each prefix of the records, opened again and told again what it lost, ends
// as the whole did.
func TestKilledWhileSuppressing(t *testing.T) {
	story := func(p *port) {
		at := func(seconds int) {
			for p.clock.Now().Before(second(10 + seconds)) {
				p.pass(1)
			}
		}
		p.on("bow", numbers(1, 8)...)
		p.on("stern", numbers(9, 15)...)
		p.on("aft", "18", "19", "20")
		p.silent(0, numbers(1, 6)...)
		p.silent(1, numbers(7, 15)...)
		at(10) // bow and stern are one alarm
		p.silent(10, "18", "19", "20")
		at(20)
		p.back(30, append(numbers(1, 8), "18", "19")...)
		at(30) // stern is alone, and so is line 20
		p.back(40, numbers(9, 13)...)
		at(40) // and so are 14 and 15
	}
	final := func(p *port) string {
		var out []string
		all, _ := p.log.List("", true)
		for i := range all {
			s := &all[i]
			out = append(out, fmt.Sprint(s.Condition, " ", s.Line, " ", s.Lifecycle(), " ", s.Suppressed != nil))
		}
		slices.Sort(out)
		return strings.Join(out, "\n")
	}
	whole := newPort(t, 20)
	story(whole)
	want, told, records, calls := final(whole), whole.records(), whole.store.Kept, whole.called()
	whole.calls("sensor-fault 20", "sensor-fault 14", "sensor-fault 15")
	for cut := range records {
		p := newPort(t, 20)
		p.store.Kept = slices.Clone(records[:cut])
		if cut > 0 {
			p.clock = alarmtest.NewClock(told[cut-1].Recorded)
		}
		p.reopen()
		story(p) // the journal gives all again; what is on record is passed over
		if got := final(p); got != want {
			t.Fatalf("cut after record %d:\n%s\nwant\n%s", cut, got, want)
		}
		if n := p.called(); n != calls {
			t.Errorf("cut after record %d: people were called %d times", cut, n)
		}
	}
}

// A raise that waits, on record from before there was anything but silence to wait for,
// is of silence.
func TestRaiseOfBeforeThatWaits(t *testing.T) {
	p := newPort(t, 4)
	p.silent(0, numbers(1, 4)...)
	for i, data := range p.store.Kept {
		var m hawserv1.AlarmRecord
		p.ok(proto.Unmarshal(data, &m))
		if m.Joint != alarm.PinsSilent {
			t.Fatalf("record %d waits for %q", i+1, m.Joint)
		}
		m.Joint = ""
		var err error
		p.store.Kept[i], err = proto.Marshal(&m)
		p.ok(err)
	}
	p.reopen()
	p.pass(10)
	p.calls("pins-silent gate")
}

// In whatever order pins fall silent or still and come back, berth and clock are lost and
// found, and the server is started again: in the end each fault that is still there
// calls, or stands under an alarm that does, and nothing stands that is over.
func TestNoFaultStaysUnannounced(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := newPort(t, rapid.IntRange(0, 8).Draw(rt, "pins"))
		now := 0
		own := map[string]bool{}
		for range rapid.IntRange(1, 25).Draw(rt, "steps") {
			line := strconv.Itoa(rapid.IntRange(1, 8).Draw(rt, "line"))
			switch rapid.SampledFrom([]string{"silent", "silent", "all", "still", "back", "back", "own", "wait", "restart", "fault", "gateway", "stops"}).Draw(rt, "step") {
			case "silent":
				p.silent(now-10, line)
			case "all":
				p.silent(now-10, numbers(1, rapid.IntRange(2, 8).Draw(rt, "to"))...)
			case "still":
				p.still(now-10, numbers(1, rapid.IntRange(1, 8).Draw(rt, "to"))...)
			case "gateway":
				p.on(rapid.SampledFrom([]string{"", "bow", "stern", "aft"}).Draw(rt, "gateway"), line)
			case "stops":
				gateway := p.pins[line]
				p.silent(now-10, slices.DeleteFunc(numbers(1, 8), func(line string) bool { return p.pins[line] != gateway })...)
			case "back":
				p.back(now, line)
			case "fault":
				p.apply(raised(detect.SensorFault, line, now))
			case "own":
				condition := rapid.SampledFrom([]string{berthSilent, clockAhead}).Draw(rt, "own")
				if own[condition] = !own[condition]; own[condition] {
					p.ok(p.log.RaiseOwn(t.Context(), alarm.Own{Berth: "east-3", Condition: condition, Priority: detect.Alarm}))
				} else {
					p.ok(p.log.ClearOwn(t.Context(), "east-3", condition))
				}
			case "wait":
				seconds := rapid.IntRange(1, 60).Draw(rt, "seconds")
				p.pass(seconds)
				now += seconds
			case "restart":
				p.reopen()
			}
		}
		p.pass(60)
		all, _ := p.log.List("", false)
		calls := map[string]bool{}
		under := map[string]int{}
		for i := range all {
			calls[all[i].ID] = all[i].Calls()
			if s := all[i].Suppressed; s != nil {
				under[s.Under]++
			}
		}
		for i := range all {
			s := &all[i]
			if !s.Calls() && !calls[s.Suppressed.Under] {
				rt.Fatalf("line %s calls nobody, nor does %q", s.Line, s.Suppressed.Under)
			}
			if (s.Condition == alarm.PinsSilent || s.Condition == alarm.PinsStill) && under[s.ID] == 0 {
				rt.Fatalf("%s stands for no line", s.ID)
			}
		}
		for condition, is := range own {
			if is {
				p.ok(p.log.ClearOwn(t.Context(), "east-3", condition))
			}
		}
		p.back(now+1000, numbers(1, 8)...)
		p.pass(2)
		p.calls()
	})
}
