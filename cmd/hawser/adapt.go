package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/grpc"

	"hawser/ingest/batch"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	"hawser/ingest/standby"
	"hawser/ingest/store"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/alarm"
	"hawser/services/history"
	"hawser/services/linebook"
)

// The adapters below hand the journal to each part in the part's own words, so
// that none of them knows NATS and the journal knows none of them.

// Buckets of the journal's documents.
const (
	snapshotBucket = "snapshots"
	positionBucket = "positions"
	staysBucket    = "stays-past"
)

// Names of those who follow the whole journal, and of their positions in it.
const (
	storeKey = "store"
	staysKey = "stays"
	linesKey = "lines"
)

// watchReader is the journal's name of a berth's watch.
func watchReader(berth string) string { return "watch-" + berth }

// intakeJournal is the journal as the intake sees it.
type intakeJournal struct{ *standby.Journal }

func (j intakeJournal) Append(ctx context.Context, e *journal.Entry) (intake.Pending, error) {
	p, err := j.Journal.Append(ctx, e)
	if err != nil {
		return nil, err
	}
	return intakePending{p}, nil
}

type intakePending struct{ *standby.Pending }

func (p intakePending) Wait(ctx context.Context) (journal.Position, error) {
	at, err := p.Pending.Wait(ctx)
	if errors.Is(err, standby.ErrUnkept) {
		err = fmt.Errorf("%w: %w", intake.ErrUnkept, err)
	}
	return at, err
}

// reader is the journal to one of those who follow it, by the name it has there.
type reader struct {
	*standby.Journal
	name string
}

func (r reader) FollowAll(ctx context.Context, after uint64, fn func(*batch.Entry) error) error {
	return r.by(ctx, r.Follow, journal.FollowOptions{Reader: r.name, After: journal.Position(after)}, fn)
}

// follow is one of the journal's ways to follow it.
type follow = func(context.Context, journal.FollowOptions, func(*journal.Entry) error) error

func (r reader) by(ctx context.Context, follow follow, o journal.FollowOptions, fn func(*batch.Entry) error) error {
	var be batch.Entry
	err := follow(ctx, o, func(e *journal.Entry) error {
		be = batch.Entry{
			Position: uint64(e.Position), Berth: e.Berth, Source: e.Source, Plan: e.Plan,
			Refused: e.Refused, Data: e.Data, Stored: e.Stored,
		}
		return fn(&be)
	})
	var lost *journal.RolledBackError
	if errors.As(err, &lost) {
		return &batch.RolledBackError{Last: uint64(lost.Resume)}
	}
	return err
}

func (r reader) Last(ctx context.Context) (uint64, error) {
	_, last, err := r.Bounds(ctx)
	return uint64(last), err
}

// watchJournal is the journal as the watch sees it, which follows it berth by berth and
// looks at what is not kept too.
type watchJournal struct{ reader }

func (j watchJournal) FollowBerth(ctx context.Context, berth string, after uint64, fn func(*batch.Entry) error) error {
	return j.by(ctx, j.Watch, journal.FollowOptions{Reader: watchReader(berth), Berth: berth, After: journal.Position(after)}, fn)
}

func (j watchJournal) SaveSnapshot(ctx context.Context, berth string, data []byte) error {
	return j.Put(ctx, snapshotBucket, berth, data)
}

func (j watchJournal) LoadSnapshot(ctx context.Context, berth string) ([]byte, bool, error) {
	return j.Get(ctx, snapshotBucket, berth)
}

// storeJournal is the journal as the feed of the store sees it.
type storeJournal struct{ reader }

func (j storeJournal) SavePosition(ctx context.Context, data []byte) error {
	return j.Put(ctx, positionBucket, storeKey, data)
}

func (j storeJournal) LoadPosition(ctx context.Context) ([]byte, bool, error) {
	return j.Get(ctx, positionBucket, storeKey)
}

// staysJournal is the journal as the keeper of the stays sees it.
type staysJournal struct{ reader }

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
