// Package evidence writes down what each alarm of a replay was told on: an
// account in JSON and a picture in SVG, so that one who was not there can judge
// it. It looks on and changes nothing.
//
//	readings ─► traces, by channel ─┐
//	looks of the detectors ─► rings ─┼─► 0001-line-parted-4.json, .svg
//	raised ─► waits 30 s ───────────┘
//
// Its memory is bounded: half an hour of readings and of what the detectors saw
// each second, three minutes of what they saw each tick.
package evidence

import (
	"fmt"
	"os"
	"path/filepath"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/detect/reading"
)

const (
	second = int64(1e9)
	minute = 60 * second

	after      = 30 * second // shown of what came after the alarm
	mean       = 10 * second // over which a load before or after is taken
	tickKept   = 3 * minute
	secondKept = 30 * minute
)

// Recorder keeps what is needed to account for an alarm, and writes the
// accounts. It is not safe for concurrent use.
type Recorder struct {
	plan    *mooring.Plan
	dir     string
	lines   []traces // in the plan's order
	ticks   looks
	seconds looks
	now     int64 // time of the newest look, Unix nanoseconds
	waiting []detect.Change
	written int
}

// New makes the folder dir, which must be new or empty so that no account of
// another replay lies among these.
func New(plan *mooring.Plan, dir string) (*Recorder, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("evidence: %w", err)
	}
	there, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("evidence: %w", err)
	}
	if len(there) > 0 {
		return nil, fmt.Errorf("evidence: %s holds %s already; name a new or an empty folder", dir, there[0].Name())
	}
	return &Recorder{plan: plan, dir: dir, lines: make([]traces, len(plan.Lines)),
		ticks: newLooks(tickKept, second/10), seconds: newLooks(secondKept, second)}, nil
}

// Look keeps what the detectors saw in a tick; it is for detect.Berth.Observe.
func (r *Recorder) Look(l *detect.Observation) {
	r.now = l.Time
	r.ticks.add(l)
	if l.Time%second == 0 {
		r.seconds.add(l)
	}
}

// Take keeps the readings of a block, and writes the account of every alarm
// whose time has come. The block has been through the detectors and changes is
// what they made of it.
func (r *Recorder) Take(b *reading.Block, changes []detect.Change) error {
	for k := range b.Series {
		s := &b.Series[k]
		if i := r.plan.Line(s.Channel.Line); i >= 0 && s.Channel.Kind.OfLine() {
			r.lines[i].take(s)
		}
	}
	for i := range r.lines {
		r.lines[i].forget(r.now - secondKept)
	}
	for _, c := range changes {
		if c.Raised {
			r.waiting = append(r.waiting, c)
		}
	}
	return r.write(r.now - after)
}

// Close writes the accounts of the alarms that still wait, with what there is of
// the time after them.
func (r *Recorder) Close() error { return r.write(r.now) }

// write writes the accounts of the alarms raised at or before until.
func (r *Recorder) write(until int64) error {
	for len(r.waiting) > 0 && r.waiting[0].Time <= until {
		c := r.waiting[0]
		r.waiting = r.waiting[1:]
		r.written++
		base := filepath.Join(r.dir, fmt.Sprintf("%04d-%s-%s", r.written, c.Condition, place(&c)))
		account, err := r.account(&c).marshal()
		if err != nil {
			return fmt.Errorf("evidence: %s: %w", base, err)
		}
		if err := os.WriteFile(base+".json", account, 0o666); err != nil {
			return fmt.Errorf("evidence: %w", err)
		}
		if err := os.WriteFile(base+".svg", r.picture(&c), 0o666); err != nil {
			return fmt.Errorf("evidence: %w", err)
		}
	}
	return nil
}

// place is the line, or the group where no line is known.
func place(c *detect.Change) string {
	if c.Line != "" {
		return c.Line
	}
	return c.Group.String()
}

// window is the time that an account is of: a minute before the alarm, or more
// for what comes slowly, and half a minute after.
func (r *Recorder) window(c *detect.Change) (from, to int64) {
	reach, most := minute, tickKept-after
	switch c.By {
	case detect.GroupShare, detect.SlackMean, detect.StuckRange:
		reach, most = 5*minute, secondKept-after
	case detect.MinuteMean, detect.TimeToLimit, detect.ZeroCusum:
		reach, most = 25*minute, secondKept-after
	}
	if c.Onset != 0 {
		reach = max(reach, c.Time-c.Onset+20*second)
	}
	return c.Time - min(reach, most), min(c.Time+after, r.now)
}

// seen are the looks that cover a window that begins at from: every tick where
// it is short, else every second.
func (r *Recorder) seen(from, to int64) *looks {
	if to-from <= tickKept {
		return &r.ticks
	}
	return &r.seconds
}
