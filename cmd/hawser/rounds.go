package main

import (
	"context"
	"time"

	"hawser/services/rounds"
)

// look gives the rounds their sight of the station.
func (s *station) look(ctx context.Context, since time.Time) (rounds.Sight, error) {
	unread, err := s.journal.Unread(ctx)
	if err != nil {
		return rounds.Sight{}, err
	}
	out := rounds.Sight{Damaged: s.book.Damaged()}
	for _, b := range s.watch.States() {
		out.Berths = append(out.Berths, rounds.Berth{
			Name: b.Berth, Heard: b.Heard, UnderWatch: b.UnderWatch, Behind: unread[watchReader(b.Berth)],
			Stopped: b.Stopped, PassedOver: b.PassedOver, NoPlan: b.NoPlan,
		})
		if c := b.ClockBack; c.At.After(since) {
			out.ClocksBack = append(out.ClocksBack, rounds.Clock{Berth: b.Berth, Source: c.Source, By: c.By})
		}
	}
	for _, c := range s.intake.ClocksAhead(since) {
		out.Clocks = append(out.Clocks, rounds.Clock{Berth: c.Berth, Source: c.Source, By: c.By})
	}
	if s.pump != nil {
		out.History = max(s.pump.Behind(), unread[storeKey])
	}
	s.limits.look(&out, since)
	if u := s.journal.State(); u.Err != nil {
		out.Unkept = &rounds.Unkept{Since: u.Since, Why: u.Err.Error()}
	}
	return out, nil
}
