package archive

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// Stay is one ship at one berth, with what is to happen to her.
type Stay struct {
	Plan       *mooring.Plan
	Message    *hawserv1.MooringPlan
	Arrival    time.Time // first line ashore
	MadeFast   time.Time
	LetGo      time.Time // singling up begins
	Departure  time.Time // last line in
	options    *Options
	weather    *weather
	berth      *berth
	seed       uint64
	happenings []happening // in order of time
}

// kind is what a happening is.
type kind uint8

const (
	slip      kind = iota + 1 // the most loaded line's brake, or its turns, give
	part                      // the most loaded line parts
	replaced                  // and is put out anew
	pass                      // a ship passes
	noData                    // nothing comes from the berth
	pinDead                   // the line's pin reads near nothing
	pinStuck                  // it repeats itself
	pinDrifts                 // its zero walks off
	pinDies                   // it sputters and falls silent for good
)

// happening is one thing that happens.
type happening struct {
	at   time.Time
	kind kind
	line int // of the plan, for pins
	last time.Duration
	size float64
}

const (
	makingFast = 50 * time.Minute
	singlingUp = 35 * time.Minute
)

// Stays are all stays of the archive, by berth and then by time.
func Stays(o Options) ([]*Stay, error) {
	if err := o.settle(); err != nil {
		return nil, fmt.Errorf("archive: %w", err)
	}
	w := newWeather(&o)
	var out []*Stay
	all := berths()
	for k := range all {
		stays, err := all[k].stays(&o, &w, uint64(k))
		if err != nil {
			return nil, fmt.Errorf("archive: berth %s: %w", all[k].name, err)
		}
		out = append(out, stays...)
	}
	return out, nil
}

// SortByArrival puts stays in the order in which a port sees them.
func SortByArrival(stays []*Stay) {
	slices.SortStableFunc(stays, func(a, b *Stay) int { return a.Arrival.Compare(b.Arrival) })
}

// stays are those of one berth. Nobody comes or sails in the gale, and whoever is
// to be there for it has come before.
func (b *berth) stays(o *Options, w *weather, number uint64) (out []*Stay, err error) {
	rng := rand.New(rand.NewPCG(o.Seed, 100+number))
	hour := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)).Round(time.Minute) }
	gale := o.Start.Add(hour(w.galeAt))
	at := o.Start.Add(hour(0.5 + 2*rng.Float64() + 1.5*float64(number)))
	for k := 0; ; k++ {
		if at.Before(gale.Add(14*time.Hour)) && at.After(gale.Add(-9*time.Hour)) {
			at = gale.Add(-9 * time.Hour)
		}
		leave := at.Add(hour(b.alongside * (0.7 + 0.6*rng.Float64())))
		if leave.After(gale.Add(-16*time.Hour)) && leave.Before(gale.Add(15*time.Hour)) {
			leave = gale.Add(15*time.Hour + hour(4*rng.Float64()))
		}
		if leave = earlier(leave, o.end().Add(-time.Hour)); leave.Sub(at) < 6*time.Hour {
			return out, nil
		}
		s := &Stay{Arrival: at, MadeFast: at.Add(makingFast), LetGo: leave.Add(-singlingUp), Departure: leave,
			options: o, weather: w, berth: b, seed: o.Seed<<16 ^ number<<8 ^ uint64(k)}
		if s.Plan, s.Message, err = b.shipped(k % len(b.ships)); err != nil {
			return nil, err
		}
		s.happen(rng, gale, k)
		out = append(out, s)
		at = leave.Add(hour(b.between * (0.6 + 0.8*rng.Float64())))
	}
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// happen draws what is to happen in a stay.
func (s *Stay) happen(rng *rand.Rand, gale time.Time, k int) {
	long := s.LetGo.Sub(s.MadeFast)
	within := func(from, to float64) time.Time {
		return s.MadeFast.Add(time.Duration((from + (to-from)*rng.Float64()) * float64(long))).Truncate(10 * time.Second)
	}
	add := func(h happening) { s.happenings = append(s.happenings, h) }
	if rng.Float64() < 0.45 {
		add(happening{at: within(0.2, 0.9), kind: slip, size: 0.15 + 0.5*rng.Float64()})
	}
	if rng.Float64() < 0.5 {
		add(happening{at: within(0.1, 0.9), kind: noData, last: time.Duration(4+40*rng.Float64()) * time.Minute})
	}
	if fault := []kind{pinDead, pinStuck, pinDrifts, pinDies}[(k+int(s.seed>>8&3))%4]; rng.Float64() < 0.55 {
		add(happening{at: within(0.15, 0.8), kind: fault, line: rng.IntN(len(s.Plan.Lines)),
			last: time.Duration(20+150*rng.Float64()) * time.Minute, size: 0.15})
	}
	if s.berth.passed {
		for at := s.MadeFast.Add(2 * time.Hour); at.Before(s.LetGo); at = at.Add(time.Duration(3+9*rng.Float64()) * time.Hour) {
			add(happening{at: at.Truncate(10 * time.Second), kind: pass, last: 6 * time.Minute, size: 0.25 + 0.75*rng.Float64()})
		}
	}
	if s.MadeFast.Before(gale) && s.LetGo.After(gale.Add(3*time.Hour)) && s.berth.name == "box-quay-4" {
		add(happening{at: gale.Add(20 * time.Minute).Truncate(10 * time.Second), kind: part})
		add(happening{at: gale.Add(75 * time.Minute).Truncate(10 * time.Second), kind: replaced})
	}
	slices.SortStableFunc(s.happenings, func(a, b happening) int { return a.at.Compare(b.at) })
}
