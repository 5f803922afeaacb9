package main

import (
	"context"
	"time"

	"hawser/ingest/intake"
	"hawser/services/rounds"
)

// look gives the rounds their sight of the station.
func (s *station) look(ctx context.Context, since time.Time) (rounds.Sight, error) {
	unread, err := s.journal.Unread(ctx)
	if err != nil {
		return rounds.Sight{}, err
	}
	out := rounds.Sight{Damaged: s.book.Damaged()}
	heard := s.intake.Heard()
	for _, b := range s.watch.States() {
		out.Berths = append(out.Berths, rounds.Berth{
			Name: b.Berth, Heard: b.Heard, UnderWatch: b.UnderWatch, Behind: unread[watchReader(b.Berth)],
			Stopped: b.Stopped, PassedOver: b.PassedOver, NoPlan: b.NoPlan, Sources: sources(b.Berth, heard, s.watch.Senders(b.Berth)),
		})
		if c := b.ClockBack; c.At.After(since) {
			out.ClocksBack = append(out.ClocksBack, rounds.Clock{Berth: b.Berth, Source: c.Source, By: c.By})
		}
	}
	for _, c := range s.intake.ClocksAhead(since) {
		out.Clocks = append(out.Clocks, rounds.Clock{Berth: c.Berth, Source: c.Source, By: c.By})
	}
	for _, f := range s.intake.Floods(since) {
		out.Floods = append(out.Floods, rounds.Flood{Berth: f.Berth, Source: f.Source, For: f.Until.Sub(f.Since)})
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

// sources are those of a berth that have been heard; from has who last sent each line.
func sources(berth string, heard []intake.Heard, from map[string]string) (out []rounds.Source) {
	alone := map[string]bool{}
	for _, source := range from {
		alone[source] = true
	}
	for _, h := range heard {
		if h.Berth == berth {
			out = append(out, rounds.Source{Name: h.Source, Since: h.Since, Last: h.Last, Done: h.Done, Alone: alone[h.Source]})
		}
	}
	return out
}
