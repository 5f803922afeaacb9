// Package rounds goes round every second and looks whether the watch itself can
// see: whether every berth is heard, the detectors keep up with what comes in, its
// plan is good, the sources' clocks are right, and history keeps up. What is not so
// becomes an alarm of the server's own, in the list that crew and terminal read. It
// never looks at a load. Its invariant: such an alarm ends only when what it was
// raised for has ended, whatever was restarted in between.
//
//	berth-silent   no readings for SilentAfter (8 s)   until they have come for 5 s
//	watch-stalled  detectors 6 s behind, two looks     until under that, three looks
//	plan-damaged   plan on record cannot be used       until the berth is under a good one
//	gateway-silent a source sends nothing for 16 s, and its pins, if it sends any, come
//	               from another                        until it has sent for 5 s
//	clock-ahead    readings refused for their clock    until none were for 10 s
//	clock-back     readings dated before those watched until none were for 10 s
//	history-late   store 5 s behind, five looks        until under that, ten looks
//	not-recorded   the journal takes nothing           until it does, five looks
//	journal-…      a limit near, readings lost         until not near, none lost for 10 s
//
// A berth that has never been heard is not silent: it waits for its first source.
// Nor is one whose last word was that the ship is arriving or leaving. While the
// detectors are behind, only that is told: what they will hear is not known yet.
// While readings are refused for their clock, that is why a berth is not heard, and
// told in its place.
// Each is on record within 10 s, by figures that are common practice, no source.
package rounds

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"hawser/services/alarm"
)

// The conditions that are looked for.
const (
	BerthSilent   = "berth-silent"
	WatchStalled  = "watch-stalled"
	PlanDamaged   = "plan-damaged"
	GatewaySilent = "gateway-silent"
	ClockAhead    = "clock-ahead"
	ClockBack     = "clock-back"
	GatewayFloods = "gateway-floods"
	HistoryLate   = "history-late"
	NotRecorded   = "not-recorded"
)

const (
	every      = time.Second
	steady     = 5 * time.Second  // readings come again for this long
	mostBehind = 6 * time.Second  // detectors
	mostLate   = 5 * time.Second  // history
	newsFor    = 10 * time.Second // a refusal or a loss is news for this long
)

// Sight is all that a round looks at.
type Sight struct {
	Berths []Berth
	// Damaged has the reason for each berth whose plan on record cannot be used.
	Damaged map[string]error
	// Clocks are the sources refused for their clock since the time asked for,
	// ClocksBack those whose readings are dated before what was watched already.
	Clocks, ClocksBack []Clock
	// Floods are the gateways held back since the time asked for.
	Floods []Flood
	// History is how late the store is, 0 where there is none.
	History time.Duration
	// Limits of the journal that are near, and what its readers lost since the time
	// asked for.
	Limits []Limit
	Losses []Loss
	// Unkept says that nothing is recorded, nil while all is.
	Unkept *Unkept
}

// Unkept is since when and why nothing is recorded.
type Unkept struct {
	Since time.Time
	Why   string
}

// Berth is how the watch over a berth stands.
type Berth struct {
	Name string
	// Heard is when readings were last put through the detectors, zero for never.
	// What was heard before the start counts as heard at the start.
	Heard time.Time
	// UnderWatch is whether the mooring is watched, as the detectors take it; true
	// before their first word.
	UnderWatch bool
	// Behind is the age of the oldest batch that the detectors have to do.
	Behind time.Duration
	// Stopped says why they have stopped, "" when they have not.
	Stopped string
	// PassedOver counts the batches that were not watched for want of their plan;
	// NoPlan says why while that is so.
	PassedOver uint64
	NoPlan     string
	// Sources are those that have sent since the start.
	Sources []Source
}

// Source is a gateway, or whatever sends.
type Source struct {
	Name        string
	Since, Last time.Time // when batches of it came, since when without a silence
	// Done: it has said itself that it sends no more.
	Done bool
	// Alone: some load pin comes from nobody else, so that its silence is told by that.
	Alone bool
}

// Flood is a gateway that is held back, as it sends more than its lines can need.
type Flood struct {
	Berth, Source string
	For           time.Duration
}

// Clock is a source whose clock is ahead of the server's, or was set back.
type Clock struct {
	Berth, Source string
	By            time.Duration
}

// Alarms is the alarm log.
type Alarms interface {
	RaiseOwn(ctx context.Context, o alarm.Own) error
	ClearOwnOf(ctx context.Context, o alarm.Own) error
	List(berth string, cleared bool) ([]alarm.State, uint64)
}

// Options are what Rounds need. Look, Alarms and Log are required.
type Options struct {
	// Look gives the present sight, its clocks and losses since a time.
	Look   func(ctx context.Context, since time.Time) (Sight, error)
	Alarms Alarms
	Log    *slog.Logger
	// SilentAfter is how long a berth may send nothing; 0 means 8 s.
	SilentAfter time.Duration
}

// Rounds look after the watch.
type Rounds struct {
	o       Options
	began   time.Time
	berths  map[string]*berth // bounded by the plans
	history streak
	unkept  streak
	blind   bool // the last look could not be taken
}

// New prepares rounds.
func New(o Options) (*Rounds, error) {
	if o.Look == nil || o.Alarms == nil || o.Log == nil {
		return nil, errors.New("rounds: Look, Alarms and Log are required")
	}
	if o.SilentAfter < 0 {
		return nil, fmt.Errorf("rounds: SilentAfter is %s, want 0 or more", o.SilentAfter)
	}
	if o.SilentAfter == 0 {
		o.SilentAfter = 8 * time.Second
	}
	return &Rounds{o: o, berths: map[string]*berth{}}, nil
}

// Run goes round until ctx ends. It is called once.
func (r *Rounds) Run(ctx context.Context) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	r.began = time.Now()
	for {
		select {
		case <-ctx.Done():
			return nil
		case now := <-tick.C:
			r.report(ctx, r.round(ctx, now))
		}
	}
}

// report logs that a round could not be made, once until one can.
func (r *Rounds) report(ctx context.Context, err error) {
	if ctx.Err() != nil {
		return
	}
	if err != nil && !r.blind {
		r.o.Log.Error("the state of the watch cannot be looked at or told", "err", err)
	}
	r.blind = err != nil
}

// round takes one look and tells what changed.
func (r *Rounds) round(ctx context.Context, now time.Time) error {
	sight, err := r.o.Look(ctx, now.Add(-newsFor))
	if err != nil {
		return err
	}
	active := map[key]bool{}
	alarms, _ := r.o.Alarms.List("", false)
	for i := range alarms {
		active[key{alarms[i].Berth, alarms[i].Condition, alarms[i].Source}] = true
	}
	var errs []error
	findings := slices.Concat(r.judge(&sight, now), leftGateways(&sight, active), r.floods(&sight, active, now), r.limits(&sight, active, now))
	for _, f := range findings {
		switch is := active[key{f.Berth, f.Condition, f.Source}]; {
		case f.state == holds && !is:
			errs = append(errs, r.o.Alarms.RaiseOwn(ctx, f.Own))
		case f.state == over && is:
			errs = append(errs, r.o.Alarms.ClearOwnOf(ctx, f.Own))
		}
	}
	return errors.Join(errs...)
}

// key tells the server's own alarms apart.
type key struct{ berth, condition, source string }
