package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/grpc"

	"hawser/detect/mooring"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	"hawser/ingest/store"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/history"
	"hawser/services/linebook"
	"hawser/services/stay"
	"hawser/services/watch"
)

// The adapters below hand the journal to each part in the part's own words, so
// that none of them knows NATS and the journal knows none of them.

// Buckets of the journal's documents.
const (
	snapshotBucket = "snapshots"
	positionBucket = "positions"
	storeKey       = "store"
	staysBucket    = "stays-past"
	staysKey       = "stays"
)

// watchReader is the journal's name of a berth's watch.
func watchReader(berth string) string { return "watch-" + berth }

// watchJournal is the journal as the watch sees it.
type watchJournal struct{ *journal.Journal }

func (j watchJournal) FollowBerth(ctx context.Context, berth string, after uint64, fn func(*watch.Entry) error) error {
	var we watch.Entry
	err := j.Follow(ctx, journal.FollowOptions{Reader: watchReader(berth), Berth: berth, After: journal.Position(after)}, func(e *journal.Entry) error {
		we = watch.Entry{
			Position: uint64(e.Position), Source: e.Source, Plan: e.Plan,
			Refused: e.Refused, Data: e.Data, Stored: e.Stored,
		}
		return fn(&we)
	})
	var lost *journal.RolledBackError
	if errors.As(err, &lost) {
		return &watch.RolledBackError{Last: uint64(lost.Resume)}
	}
	return err
}

func (j watchJournal) Last(ctx context.Context) (uint64, error) {
	_, last, err := j.Bounds(ctx)
	return uint64(last), err
}

func (j watchJournal) SaveSnapshot(ctx context.Context, berth string, data []byte) error {
	return j.Put(ctx, snapshotBucket, berth, data)
}

func (j watchJournal) LoadSnapshot(ctx context.Context, berth string) ([]byte, bool, error) {
	return j.Get(ctx, snapshotBucket, berth)
}

// watchPlans is the plans as the watch sees them.
type watchPlans struct{ *planbook.Book }

func (p watchPlans) PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error) {
	plan, err := p.Book.PlanByFingerprint(ctx, berth, fingerprint)
	if errors.Is(err, planbook.ErrDamaged) {
		return nil, fmt.Errorf("%w: %w", watch.ErrPlanLost, err)
	}
	return plan, err
}

// storeJournal is the journal as the feed of the store sees it.
type storeJournal struct{ *journal.Journal }

func (j storeJournal) FollowAll(ctx context.Context, after uint64, fn func(*history.Entry) error) error {
	var he history.Entry
	err := j.Follow(ctx, journal.FollowOptions{Reader: storeKey, After: journal.Position(after)}, func(e *journal.Entry) error {
		he = history.Entry{Position: uint64(e.Position), Berth: e.Berth, Refused: e.Refused, Data: e.Data}
		return fn(&he)
	})
	var lost *journal.RolledBackError
	if errors.As(err, &lost) {
		return &history.RolledBackError{Last: uint64(lost.Resume)}
	}
	return err
}

func (j storeJournal) Last(ctx context.Context) (uint64, error) {
	return watchJournal(j).Last(ctx)
}

func (j storeJournal) SavePosition(ctx context.Context, data []byte) error {
	return j.Put(ctx, positionBucket, storeKey, data)
}

func (j storeJournal) LoadPosition(ctx context.Context) ([]byte, bool, error) {
	return j.Get(ctx, positionBucket, storeKey)
}

// staysJournal is the journal as the keeper of the stays sees it.
type staysJournal struct{ *journal.Journal }

func (j staysJournal) FollowStays(ctx context.Context, after uint64, fn func(*stay.Entry) error) error {
	var se stay.Entry
	err := j.Follow(ctx, journal.FollowOptions{Reader: staysKey, After: journal.Position(after)}, func(e *journal.Entry) error {
		se = stay.Entry{Position: uint64(e.Position), Berth: e.Berth, Plan: e.Plan, Refused: e.Refused, Data: e.Data}
		return fn(&se)
	})
	var lost *journal.RolledBackError
	if errors.As(err, &lost) {
		return &stay.RolledBackError{Last: uint64(lost.Resume)}
	}
	return err
}

func (j staysJournal) SaveStays(ctx context.Context, berth string, data []byte) error {
	return j.Put(ctx, staysBucket, berth, data)
}

func (j staysJournal) LoadStays(ctx context.Context) (map[string][]byte, error) {
	berths, err := j.Keys(ctx, staysBucket)
	if err != nil {
		return nil, err
	}
	documents := make(map[string][]byte, len(berths))
	for _, berth := range berths {
		data, ok, err := j.Get(ctx, staysBucket, berth)
		if err != nil {
			return nil, err
		}
		if ok {
			documents[berth] = data
		}
	}
	return documents, nil
}

func (j staysJournal) SavePosition(ctx context.Context, position uint64) error {
	return j.Put(ctx, positionBucket, staysKey, []byte(strconv.FormatUint(position, 10)))
}

func (j staysJournal) LoadPosition(ctx context.Context) (uint64, error) {
	data, ok, err := j.Get(ctx, positionBucket, staysKey)
	if err != nil || !ok {
		return 0, err
	}
	position, err := strconv.ParseUint(string(data), 10, 64)
	if err != nil {
		return 0, nil // folded anew from the beginning, which changes nothing
	}
	return position, nil
}

// staysShips is the plan book as the keeper of the stays sees it.
type staysShips struct{ *planbook.Book }

func (p staysShips) Ship(ctx context.Context, berth, fingerprint string) (string, error) {
	plan, err := p.PlanByFingerprint(ctx, berth, fingerprint)
	switch {
	case errors.Is(err, planbook.ErrDamaged):
		return "", fmt.Errorf("%w: %w", stay.ErrPlanLost, err)
	case err != nil:
		return "", err
	}
	return plan.Ship.Name, nil
}

// intakeService registers the intake with the gRPC server.
type intakeService struct{ *intake.Server }

func (s intakeService) Register(r grpc.ServiceRegistrar) {
	hawserv1.RegisterIntakeServiceServer(r, s.Server)
}

// berthLines gives the plans in force as the store takes them.
func berthLines(book *planbook.Book) func() []history.BerthLines {
	return func() []history.BerthLines {
		var all []history.BerthLines
		for _, berth := range book.Berths() {
			e, ok := book.Current(berth)
			if !ok {
				continue
			}
			b := history.BerthLines{Berth: berth, Version: e.Fingerprint + e.Since.String(), Since: e.Since}
			for i := range e.Plan.Lines {
				l := &e.Plan.Lines[i]
				b.Lines = append(b.Lines, store.PlanLine{Line: l.ID, Group: l.Group.String(), MBLkN: l.MBLkN, WorkingLoadKN: e.Plan.WorkingLoadKN(i)})
			}
			all = append(all, b)
		}
		return all
	}
}

// linesReader is the journal's name of the line records.
const linesReader = "lines"

// linesJournal is the journal as the line records see it.
type linesJournal struct{ *journal.Journal }

func (j linesJournal) FollowAll(ctx context.Context, after uint64, fn func(*linebook.Entry) error) error {
	var le linebook.Entry
	err := j.Follow(ctx, journal.FollowOptions{Reader: linesReader, After: journal.Position(after)}, func(e *journal.Entry) error {
		le = linebook.Entry{Position: uint64(e.Position), Berth: e.Berth, Plan: e.Plan, Refused: e.Refused, Data: e.Data}
		return fn(&le)
	})
	var lost *journal.RolledBackError
	if errors.As(err, &lost) {
		return &linebook.RolledBackError{Last: uint64(lost.Resume)}
	}
	return err
}

func (j linesJournal) Last(ctx context.Context) (uint64, error) { return watchJournal(j).Last(ctx) }

// linesPlans is the plans as the line records see them.
type linesPlans struct{ *planbook.Book }

func (p linesPlans) PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error) {
	plan, err := p.Book.PlanByFingerprint(ctx, berth, fingerprint)
	if errors.Is(err, planbook.ErrDamaged) {
		return nil, fmt.Errorf("%w: %w", linebook.ErrPlanLost, err)
	}
	return plan, err
}

// linesAlarms is the alarm log as the line records see it.
type linesAlarms struct{ *alarm.Log }

func (l linesAlarms) Follow(ctx context.Context, after uint64, fn func(*linebook.Event) error) {
	l.Log.Follow(ctx, after, func(r *alarm.Record) error {
		e := linebook.Event{Position: r.Position}
		if r.Transition == alarm.Raised || r.Transition == alarm.Cleared {
			e.Berth, e.Line, e.Condition = r.Berth, r.Line, r.Condition
			e.Raised, e.Time, e.Journal = r.Transition == alarm.Raised, r.Time, r.Journal
		}
		return fn(&e)
	})
}

// planText gives the plan that a berth is under as an export says it. One that is
// not to be had leaves the export without.
func planText(book *planbook.Book) history.Plans {
	return func(ctx context.Context, berth string) (text, fingerprint string) {
		e, ok := book.Current(berth)
		if !ok {
			return "", ""
		}
		m, err := book.Message(ctx, berth, e.Fingerprint)
		if err != nil {
			return "", e.Fingerprint
		}
		data, err := planfile.Marshal(m)
		if err != nil {
			return "", e.Fingerprint
		}
		return string(data), e.Fingerprint
	}
}
