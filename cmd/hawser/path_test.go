package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"iter"
	"math"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hawser/detect"
	"hawser/detect/reading"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	"hawser/ingest/simulate"
	"hawser/ingest/simulate/recorded"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/waittest"
)

// record writes a recording of a simulated ship and returns its path. The story
// has a brake that slips and a line that parts where the plan allows; the pins
// of two other lines fail.
func record(t *testing.T, plan string, seed uint64, change func(*simulate.Story)) string {
	t.Helper()
	p, _, err := planfile.Load(planFile(plan))
	if err != nil {
		t.Fatal(err)
	}
	story := recorded.Demo(p, 170*time.Second)
	story.Seed = seed
	last := p.Lines[len(p.Lines)-1].ID
	story.Events = append(story.Events,
		simulate.Event{At: 20 * time.Second, Kind: simulate.NotANumber, Line: last, For: 25 * time.Second},
		simulate.Event{At: 60 * time.Second, Kind: simulate.Gap, Line: p.Lines[0].ID, For: 20 * time.Second})
	if change != nil {
		change(&story)
	}
	return recorded.Write(t, p, story)
}

// berthOf is the berth of a shared plan.
func berthOf(t *testing.T, plan string) string {
	t.Helper()
	p, _, err := planfile.Load(planFile(plan))
	if err != nil {
		t.Fatal(err)
	}
	return p.Berth
}

// tape is a recording, and what a server has that was sent it.
type tape struct {
	plan, path, berth string
	told              []told // by replay
	sums              map[string]sum
	batches           int
}

func newTape(t *testing.T, plan string, seed uint64, change func(*simulate.Story)) *tape {
	t.Helper()
	r := &tape{plan: plan, path: record(t, plan, seed, change), berth: berthOf(t, plan)}
	r.told = replayed(t, plan, r.path)
	r.sums, r.batches = inRecording(t, r.path)
	return r
}

// send sends a recording to an address and gives what the command says.
func (r *tape) send(t *testing.T, to string) (out string) {
	t.Helper()
	out, _ = hawser(t, "send", "--plan", planFile(r.plan), "--to", to, r.path)
	return out
}

// hasAll waits until every batch of a recording is watched, and wants every change on
// record and every reading in the store, once.
func (s *server) hasAll(r *tape) {
	s.t.Helper()
	s.watched(r.berth, float64(r.batches))
	compareTold(s.t, s.onRecord(), r.told)
	s.stored(r.berth, r.sums)
}

// told is a change as both ways tell it.
type told struct {
	Time, Condition, State, Line, Group, Detail string
	Value                                       float64
}

// replayed is what replay says of a recording.
func replayed(t *testing.T, plan, path string) []told {
	t.Helper()
	out := filepath.Join(t.TempDir(), "changes.jsonl")
	hawser(t, "replay", "--plan", planFile(plan), "--out", out, path)
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	var all []told
	for dec := json.NewDecoder(bytes.NewReader(data)); ; {
		var l line
		if err := dec.Decode(&l); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		c := told{Time: l.Time, Condition: l.Condition, State: l.State, Detail: l.Detail, Value: *l.Value}
		if l.Line != nil {
			c.Line = *l.Line
		}
		if l.Group != nil {
			c.Group = *l.Group
		}
		all = append(all, c)
	}
}

// onRecord is what the detectors told the server's alarm log; what the server says
// of itself, and what calls for whom, hangs on the clock.
func (s *server) onRecord() []told {
	s.t.Helper()
	client := hawserv1.NewAlarmServiceClient(s.dial())
	list, err := client.ListAlarms(s.t.Context(), &hawserv1.ListAlarmsRequest{})
	if err != nil {
		s.t.Fatal(err)
	}
	stream, err := client.WatchAlarms(s.t.Context(), &hawserv1.WatchAlarmsRequest{})
	if err != nil {
		s.t.Fatal(err)
	}
	var detected []string
	for _, c := range detect.Conditions() {
		detected = append(detected, c.String())
	}
	var all []told
	for at := uint64(0); at < list.Position; {
		res, err := stream.Recv()
		if err != nil {
			s.t.Fatal(err)
		}
		r := res.Record
		at = r.Position
		change := r.Transition == hawserv1.AlarmTransition_ALARM_TRANSITION_RAISED || r.Transition == hawserv1.AlarmTransition_ALARM_TRANSITION_CLEARED
		if !change || !slices.Contains(detected, r.Condition) {
			continue
		}
		state := strings.ToLower(strings.TrimPrefix(r.Transition.String(), "ALARM_TRANSITION_"))
		all = append(all, told{
			Time: r.Time.AsTime().Format(stamp), Condition: r.Condition, State: state,
			Line: r.Line, Group: r.Group, Detail: r.Detail, Value: r.GetValue(),
		})
	}
	return all
}

func compareTold(t testing.TB, got, want []told) {
	t.Helper()
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Fatalf("change %d is\n  %+v\nreplay says\n  %+v", i, got[i], want[i])
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%d changes on record, replay has %d\n%+v\n%+v", len(got), len(want), got, want)
	}
}

// sum counts a channel's good readings and adds up a checksum of them.
type sum struct {
	Count int
	Check uint64
}

func (s *sum) add(timeMS int64, value float64) {
	h := fnv.New64a()
	fmt.Fprintf(h, "%d %x", timeMS, math.Float64bits(value))
	s.Count++
	s.Check += h.Sum64() // order does not matter
}

// blocksOf gives the blocks of a recording.
func blocksOf(t *testing.T, path string) iter.Seq[*reading.Block] {
	return func(yield func(*reading.Block) bool) {
		t.Helper()
		r, err := recording.Open(path, recording.Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		for b, err := range r.Blocks() {
			if err != nil {
				t.Fatal(err)
			}
			if !yield(b) {
				return
			}
		}
	}
}

// inRecording sums the good readings of a recording by channel.
func inRecording(t *testing.T, path string) (sums map[string]sum, batches int) {
	t.Helper()
	sums = map[string]sum{}
	for b := range blocksOf(t, path) {
		batches++
		for i := range b.Series {
			s := &b.Series[i]
			one := sums[s.Channel.String()]
			for j := range s.Time {
				if s.QualityAt(j) != reading.Bad {
					one.add(s.Time[j]/1e6, s.Value[j])
				}
			}
			if one.Count > 0 {
				sums[s.Channel.String()] = one
			}
		}
	}
	return sums, batches
}

// inStore sums what the server's store has of a channel.
func (s *server) inStore(berth, channel string) (sum, error) {
	q := url.Values{"berth": {berth}, "channel": {channel}, "from": {"2026-03-01T00:00:00Z"}, "to": {"2026-03-02T00:00:00Z"}}
	body, err := s.get("/api/history?" + q.Encode())
	if err != nil {
		return sum{}, err
	}
	var answer []struct {
		TimeMS []int64   `json:"time_ms"`
		Value  []float64 `json:"value"`
	}
	if err := json.Unmarshal([]byte(body), &answer); err != nil {
		return sum{}, err
	}
	var all sum
	for _, a := range answer {
		for i := range a.TimeMS {
			all.add(a.TimeMS[i], a.Value[i])
		}
	}
	return all, nil
}

// stored waits until the store has exactly what the recording has, every
// channel of it, once.
func (s *server) stored(berth string, want map[string]sum) {
	s.t.Helper()
	for channel, w := range want {
		waittest.Until(s.t, "the store to have "+channel, func() error {
			got, err := s.inStore(berth, channel)
			if err == nil && got != w {
				err = fmt.Errorf("%d readings, checksum %x; the recording has %d, %x", got.Count, got.Check, w.Count, w.Check)
			}
			return err
		})
	}
}

// The same recording gives the same alarms whichever way it comes: replayed
// from the file, or sent to a server.
func TestSendTellsWhatReplayTells(t *testing.T) {
	for _, c := range []struct {
		plan   string
		seed   uint64
		change func(*simulate.Story)
	}{
		{plan: "tanker-12", seed: 1},
		{plan: "coaster-8", seed: 2},
		{plan: "carrier-20", seed: 3, change: func(s *simulate.Story) { s.Weather.WaveM = 0.8 }},
	} {
		t.Run(c.plan, func(t *testing.T) {
			t.Parallel()
			r := newTape(t, c.plan, c.seed, c.change)
			if len(r.told) < 2 {
				t.Fatalf("replay tells only %+v: nothing to compare", r.told)
			}
			s := startServe(t, t.TempDir())
			r.send(t, s.grpc)
			s.hasAll(r)

			// Sent again, nothing is taken twice.
			out := r.send(t, s.grpc)
			if !strings.Contains(out, fmt.Sprintf("%d batches were there before", r.batches)) {
				t.Errorf("sending again says %q, want all %d batches there before", out, r.batches)
			}
			compareTold(t, s.onRecord(), r.told)
		})
	}
}

// The connection is cut again and again, in the middle of frames.
func TestSendOverALineThatIsCut(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 4, nil)
	s := startServe(t, t.TempDir())
	cut := startCuttingLine(t, s.grpc, 40_000)
	out, errs := hawser(t, "send", "--plan", planFile("tanker-12"), "--to", cut.addr, r.path)
	if cut.cuts.Load() < 3 || !strings.Contains(out, "connected again") {
		t.Fatalf("the line was cut %d times and send says %q: nothing was tried", cut.cuts.Load(), out)
	}
	if !strings.Contains(errs, "hawser: no connection to "+cut.addr+": ") || strings.Contains(errs, "rpc error") {
		t.Errorf("of the cuts it says %q", errs)
	}
	s.hasAll(r)
}

// The server is killed in the middle and started again on its folder: no
// reading lost, none doubled, no alarm told twice.
func TestServerKilledInTheMiddle(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 5, nil)
	data := t.TempDir()
	s := startServe(t, data)
	addr := s.grpc
	line := startCuttingLine(t, addr, 0)

	sent := startHawser(t, "send", "--plan", planFile("tanker-12"), "--to", line.addr, "--pace", "40", r.path)
	// Killed twice: after a third and after two thirds, while readings come in.
	for _, part := range []float64{1. / 3, 2. / 3} {
		s.watched(r.berth, math.Floor(part*float64(r.batches)))
		s.kill()
		s = startServe(t, data)
		line.to(s.grpc)
	}
	sent()
	s.hasAll(r)
}

// A stop by signal drains within 5 s, and the next start goes on from there.
func TestStopDrainsAndTheNextStartGoesOn(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 6, nil)
	data := t.TempDir()
	s := startServe(t, data, "--plan", planFile("tanker-12"))
	line := startCuttingLine(t, s.grpc, 0)
	sent := startHawser(t, "send", "--plan", planFile("tanker-12"), "--to", line.addr, "--pace", "60", r.path)
	s.watched(r.berth, float64(r.batches)/2)
	took, err := s.stop()
	if err != nil {
		t.Fatalf("stop: %v\n%s", err, s.stderr.String())
	}
	if took > 5*time.Second {
		t.Errorf("the stop took %s, promised are 5 s", took)
	}
	s = startServe(t, data)
	line.to(s.grpc)
	sent()
	s.hasAll(r)
}

// cuttingLine carries TCP to a server and cuts each connection after so many
// bytes up; 0 never cuts. Without a target it holds connections until it has one.
type cuttingLine struct {
	addr  string
	after int64
	cuts  atomic.Int64

	led    sync.Cond
	target string // under led.L
}

func startCuttingLine(t *testing.T, target string, after int64) *cuttingLine {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cuttingLine{addr: l.Addr().String(), target: target, after: after}
	c.led.L = new(sync.Mutex)
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			down, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { c.carry(down) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		c.to("nowhere") // lets go what is held
		wg.Wait()
	})
	return c
}

// to leads later connections to another server.
func (c *cuttingLine) to(target string) {
	c.led.L.Lock()
	defer c.led.L.Unlock()
	c.target = target
	c.led.Broadcast()
}

func (c *cuttingLine) carry(down net.Conn) {
	defer down.Close()
	c.led.L.Lock()
	for c.target == "" {
		c.led.Wait()
	}
	target := c.target
	c.led.L.Unlock()
	up, err := net.Dial("tcp", target)
	if err != nil {
		return
	}
	defer up.Close()
	var wg sync.WaitGroup
	wg.Go(func() {
		_, _ = io.Copy(down, up)
		_ = down.Close()
	})
	var from io.Reader = down
	if c.after > 0 {
		from = io.LimitReader(down, c.after)
	}
	if n, _ := io.Copy(up, from); c.after > 0 && n == c.after {
		c.cuts.Add(1)
	}
	_ = up.Close()
	_ = down.Close()
	wg.Wait()
}
