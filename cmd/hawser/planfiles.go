package main

import (
	"context"
	"errors"
	"slices"

	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// readPlans reads the plan files before anything is touched.
func (s *station) readPlans(context.Context) error {
	for _, path := range s.cfg.Plans {
		_, message, err := planfile.Load(path)
		if err != nil {
			return err
		}
		s.plans = append(s.plans, message)
	}
	return nil
}

// byPlanFile is on record as who put a plan file's plan in force.
const byPlanFile = "plan file"

// putPlans puts the berths of the plan files under them: whoever starts the server
// with a plan means it. Not one that was in force before and that somebody has
// replaced: a server that starts again by itself does not undo what people did.
func (s *station) putPlans(ctx context.Context) error {
	for _, message := range s.plans {
		since, err := s.replacedSince(ctx, message)
		if err != nil {
			return err
		}
		if since != nil {
			s.log.Warn("plan file left aside: its plan was in force and has been replaced", "berth", message.Berth,
				"by", since.By, "at", since.At, "in_force", since.Fingerprint)
			continue
		}
		e, err := s.book.Put(ctx, message, planbook.Terms{Replace: true, By: byPlanFile})
		if err != nil {
			return err
		}
		s.board.SetPlan(e.Plan.Berth, e.Plan)
	}
	return nil
}

// replacedSince is the version in force that somebody put in the place of a plan
// file's; nil where nobody did.
func (s *station) replacedSince(ctx context.Context, m *hawserv1.MooringPlan) (*planbook.Version, error) {
	now, known := s.book.Current(m.Berth)
	mine := planfile.Fingerprint(m)
	if !known || now.Fingerprint == mine {
		return nil, nil
	}
	versions, err := s.book.Versions(ctx, m.Berth)
	if errors.Is(err, planbook.ErrDamaged) || len(versions) == 0 {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	was := slices.ContainsFunc(versions, func(v planbook.Version) bool { return v.Fingerprint == mine })
	if v := &versions[0]; was && v.Fingerprint == now.Fingerprint && v.By != byPlanFile {
		return v, nil
	}
	return nil, nil
}
