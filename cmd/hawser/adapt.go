package main

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc"

	"hawser/detect/mooring"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/ingest/store"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/history"
	"hawser/services/watch"
)

// The adapters below hand the journal to each part in the part's own words, so
// that none of them knows NATS and the journal knows none of them.

// Buckets of the journal's documents.
const (
	snapshotBucket = "snapshots"
	positionBucket = "positions"
	storeKey       = "store"
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
