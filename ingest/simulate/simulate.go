// Package simulate makes the readings of a moored ship: she moves in surge, sway
// and yaw under wind, waves and tide on her lines and fenders, her brakes render,
// her crew tends, lines part and sensors fail as a Story tells. It knows no
// detector and no expected value may come from it, since it shares the mechanics
// the detectors use. Its invariant: the same plan, story and seed give the same
// blocks, bit for bit.
//
//	weather ─► ship ◄─► deck (brakes, crew, parting) ─► sensors ─► blocks
//	              every 50 ms                            each channel at its rate
package simulate

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
)

// tick is the step of the mechanics, short against the ship's quickest period
// (some 8 s on the fenders) and the fall of a parting line (0.2 s).
const tick = 50 * time.Millisecond

// Simulation is one moored ship in time. It never blocks and starts no
// goroutine; it is for one goroutine at a time.
type Simulation struct {
	story   Story
	weather weather
	ship    ship
	deck    deck
	sensors sensors

	now    int64 // ticks since the start
	nextUp int   // in story.Events
	turn   int64 // ticks at which this round of the story began
	block  reading.Block

	observe func(State)
}

// State is the truth of a moment, before any sensor.
type State struct {
	At   time.Duration // since the start
	deck *deck
}

// TensionKN is line i's load.
func (s State) TensionKN(i int) float64 { return s.deck.tensionKN[i] }

// PayoutM is what line i's drum, or its turns on the bitts, have paid out since
// the start or since it was made fast anew.
func (s State) PayoutM(i int) float64 { return s.deck.payoutM(i) }

// Worked reports whether line i is worked by hand.
func (s State) Worked(i int) bool { return s.deck.lines[i].tending }

// Observe has f told the truth of every tick from now on, every 50 ms, before
// the tick is read. f must not keep its argument.
func (s *Simulation) Observe(f func(State)) { s.observe = f }

// New puts the ship at rest in the story's mean wind. It fails where the story
// is out of range or names what the plan does not have, and where the mooring
// cannot hold her in that wind.
func New(plan *mooring.Plan, story Story) (*Simulation, error) {
	story = story.withDefaults()
	if err := story.validate(plan); err != nil {
		return nil, fmt.Errorf("story of berth %s: %w", plan.Berth, err)
	}
	slices.SortStableFunc(story.Events, func(a, b Event) int { return int(a.At - b.At) })
	physics := rand.New(rand.NewPCG(story.Seed, 1))
	s := &Simulation{story: story}
	s.weather = newWeather(plan, &s.story, physics)
	s.deck = newDeck(plan)
	var err error
	if s.ship, err = newShip(plan, s.deck.rig, &s.weather, s.deck.unstretched); err != nil {
		return nil, fmt.Errorf("lying in a mean wind of %g m/s: %w", story.Weather.WindMS, err)
	}
	s.sensors = newSensors(plan, &s.story, rand.New(rand.NewPCG(story.Seed, 2)))
	return s, nil
}

// Next is the next window of readings, nil once a story that Ends has ended. The
// block is valid until the next call.
func (s *Simulation) Next() *reading.Block {
	if s.story.Ends && s.at(s.now) >= s.story.Length {
		return nil
	}
	s.sensors.reset()
	for range int64(s.story.Window / tick) {
		s.step()
	}
	s.block.Sequence++
	s.block.CompleteUntil = s.story.Start.UnixNano() + int64(s.at(s.now)) - 1
	s.block.Series = s.sensors.collect(s.block.Series[:0])
	return &s.block
}

// at is the time of a tick since the start.
func (s *Simulation) at(ticks int64) time.Duration { return time.Duration(ticks) * tick }

// step reads the sensors and moves everything on by one tick.
func (s *Simulation) step() {
	s.tell()
	s.weather.step(s.now)
	s.ship.look(&s.deck, &s.weather)
	if s.observe != nil {
		s.observe(State{At: s.at(s.now), deck: &s.deck})
	}
	s.sensors.read(s.now, &s.weather, &s.deck)
	s.deck.step(s.now, s.ship.seen)
	s.ship.step(&s.weather)
	s.now++
}

// tell starts the events that are due.
func (s *Simulation) tell() {
	if s.story.Loop && s.at(s.now-s.turn) >= s.story.Length {
		s.turn, s.nextUp = s.now, 0
	}
	for s.nextUp < len(s.story.Events) && s.story.Events[s.nextUp].At <= s.at(s.now-s.turn) {
		e := s.story.Events[s.nextUp]
		s.nextUp++
		until := s.now + int64(e.For/tick)
		switch e.Kind {
		case Gust:
			s.weather.gusts = append(s.weather.gusts, gust{from: s.now, until: until, peak: e.Value})
		case Pass:
			s.weather.passes = append(s.weather.passes, gust{from: s.now, until: until, peak: e.Value})
		case Swell:
			s.weather.swells = append(s.weather.swells, gust{from: s.now, until: until, peak: e.Value})
		case WeakBrake, Part, Tend, Surge, Creep, Yield:
			s.deck.start(e, s.now, until)
		default:
			s.sensors.start(e, s.now, until)
		}
	}
}
