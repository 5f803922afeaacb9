// Package planbook keeps the mooring plans: which one each berth is under now,
// and every one that journalled batches were taken in under. It never judges a
// plan beyond its form. Its invariant: a plan is on record before any batch
// that names its fingerprint.
//
// A berth whose plan on record is damaged is under none until somebody puts it
// under one; the other berths do not suffer for it.
//
//	bucket "plans"    <berth>_<fingerprint>  a MooringPlan, serialised
//	bucket "current"  <berth>                the fingerprint
//	bucket "stays"    <berth>                since when which ship, see stay.go
//	bucket "versions" <berth>                who put it under which plan, see versions.go
package planbook

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"sort"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

const (
	plansBucket   = "plans"
	currentBucket = "current"
	staysBucket   = "stays"
	versionBucket = "versions"
	// maxBerths bounds memory and metrics of one server.
	maxBerths = 500
)

// Documents keeps small named documents, the last value of each.
type Documents interface {
	Put(ctx context.Context, bucket, key string, data []byte) error
	Get(ctx context.Context, bucket, key string) (data []byte, ok bool, err error)
	Keys(ctx context.Context, bucket string) ([]string, error)
}

// Buckets names all that the book's documents are in.
func Buckets() []string {
	return []string{plansBucket, currentBucket, staysBucket, versionBucket}
}

// ErrOtherPlan says that a berth is under another plan and the caller did not
// ask to replace it.
var ErrOtherPlan = errors.New("berth is under another plan")

// ErrFull says that the server keeps as many berths as it can.
var ErrFull = fmt.Errorf("over %d berths", maxBerths)

// ErrDamaged is what a plan on record that is gone, or not what it was, is to
// errors.Is. Asking again does not help; the plan has to be put again.
var ErrDamaged = errors.New("plan on record is damaged")

// damaged is an error that is ErrDamaged.
type damaged struct{ error }

func (d damaged) Is(target error) bool { return target == ErrDamaged }
func (d damaged) Unwrap() error        { return d.error }

// Entry is a plan on record. It is not to be changed.
type Entry struct {
	Plan        *mooring.Plan
	Fingerprint string
	// Since is when the plan's ship came to the berth, by the server's clock; zero
	// for a plan the berth is no longer under.
	Since time.Time
}

// Book is the plans on record. Safe for concurrent use.
type Book struct {
	docs  Documents
	onNew func(berth string)

	writing sync.Mutex // one Put at a time: record, then current, then memory
	// unsure are the berths of which current on record may not be the one in
	// memory, as a write of it has failed. Of the holder of writing.
	unsure map[string]bool

	mu      sync.RWMutex
	current map[string]Entry
	spoilt  map[string]error // by berth: why its plan on record cannot be used
	older   map[string]Entry // by key, of plans asked for
}

// Open reads the plans on record. onNew, if not nil, is told of each berth that
// comes under a plan later; it must not call the book.
func Open(ctx context.Context, docs Documents, onNew func(berth string)) (*Book, error) {
	b := &Book{docs: docs, onNew: onNew, unsure: map[string]bool{}, current: map[string]Entry{}, spoilt: map[string]error{}, older: map[string]Entry{}}
	berths, err := docs.Keys(ctx, currentBucket)
	if err != nil {
		return nil, fmt.Errorf("plans on record: %w", err)
	}
	for _, berth := range berths {
		e, err := b.readCurrent(ctx, berth)
		switch {
		case errors.Is(err, ErrDamaged):
			b.spoilt[berth] = err
		case err != nil:
			return nil, err
		default:
			b.current[berth] = e
		}
	}
	return b, nil
}

// readCurrent brings the plan a berth is under from its documents.
func (b *Book) readCurrent(ctx context.Context, berth string) (Entry, error) {
	fingerprint, ok, err := b.docs.Get(ctx, currentBucket, berth)
	if err != nil {
		return Entry{}, fmt.Errorf("berth %s: current plan: %w", berth, err)
	}
	if !ok {
		return Entry{}, damaged{fmt.Errorf("berth %s: current plan is not on record", berth)}
	}
	e, err := b.read(ctx, berth, string(fingerprint))
	if err == nil {
		e.Since, err = b.stay(ctx, e)
	}
	return e, err
}

func key(berth, fingerprint string) string { return berth + "_" + fingerprint }

// read brings a plan from its document.
func (b *Book) read(ctx context.Context, berth, fingerprint string) (Entry, error) {
	e, _, err := b.readMessage(ctx, berth, fingerprint)
	return e, err
}

// readMessage is read, with the message as it was put.
func (b *Book) readMessage(ctx context.Context, berth, fingerprint string) (Entry, *hawserv1.MooringPlan, error) {
	data, ok, err := b.docs.Get(ctx, plansBucket, key(berth, fingerprint))
	if err != nil {
		return Entry{}, nil, fmt.Errorf("berth %s: plan %s: %w", berth, fingerprint, err)
	}
	if !ok {
		return Entry{}, nil, damaged{fmt.Errorf("berth %s: plan %s is not on record", berth, fingerprint)}
	}
	e, m, err := parse(berth, fingerprint, data)
	if err != nil {
		return Entry{}, nil, damaged{err}
	}
	return e, m, nil
}

// parse reads a plan's document.
func parse(berth, fingerprint string, data []byte) (Entry, *hawserv1.MooringPlan, error) {
	// By its bytes as written, which a later library need not write the same.
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:8]) != fingerprint {
		return Entry{}, nil, fmt.Errorf("berth %s: plan %s is damaged: its fingerprint is %x", berth, fingerprint, sum[:8])
	}
	var m hawserv1.MooringPlan
	if err := proto.Unmarshal(data, &m); err != nil {
		return Entry{}, nil, fmt.Errorf("berth %s: plan %s: %w", berth, fingerprint, err)
	}
	plan, err := planfile.FromProto(&m)
	if err != nil {
		return Entry{}, nil, fmt.Errorf("berth %s: plan %s: %w", berth, fingerprint, err)
	}
	if plan.Berth != berth {
		return Entry{}, nil, fmt.Errorf("berth %s: plan %s is of berth %s", berth, fingerprint, plan.Berth)
	}
	return Entry{Plan: plan, Fingerprint: fingerprint}, &m, nil
}

// Berths lists the berths on record, sorted.
func (b *Book) Berths() []string {
	b.mu.RLock()
	defer b.mu.RUnlock()
	out := make([]string, 0, len(b.current))
	for berth := range b.current {
		out = append(out, berth)
	}
	sort.Strings(out)
	return out
}

// Damaged lists the berths that are under no plan because theirs on record cannot
// be used, with the reason. Its errors are ErrDamaged.
func (b *Book) Damaged() map[string]error {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return maps.Clone(b.spoilt)
}

// Current is the plan a berth is under.
func (b *Book) Current(berth string) (Entry, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	e, ok := b.current[berth]
	return e, ok
}

// Terms are how a plan is put in force.
type Terms struct {
	// Replace puts it in place of another one that the berth is under.
	Replace bool
	// InPlaceOf, if not empty, is the fingerprint of the one plan it may replace: the
	// one that whoever wrote it had before them.
	InPlaceOf string
	// By is who puts it, for the record.
	By string
}

// refuse reports whether the terms do not let a plan take the place of another.
func (t Terms) refuse(fingerprint string) bool {
	return !t.Replace || t.InPlaceOf != "" && t.InPlaceOf != fingerprint
}

// Put puts a berth under a plan. Where it is under another one that the terms do
// not let it replace, the error is ErrOtherPlan. The same plan again does
// nothing, nor does one of the same ship's that has been replaced since, and the
// entry is that of the plan in force: a source goes on as it began, though somebody
// has put a better plan in force.
func (b *Book) Put(ctx context.Context, m *hawserv1.MooringPlan, t Terms) (Entry, error) {
	plan, err := planfile.FromProto(m)
	if err != nil {
		return Entry{}, err
	}
	e := Entry{Plan: plan, Fingerprint: planfile.Fingerprint(m)}

	b.writing.Lock()
	defer b.writing.Unlock()
	was, known := b.Current(plan.Berth)
	switch {
	case known && was.Fingerprint == e.Fingerprint:
		if !b.unsure[plan.Berth] {
			return was, nil
		}
	case known && t.refuse(was.Fingerprint):
		if replaced, err := b.replaced(ctx, e, was); err != nil {
			return Entry{}, err
		} else if replaced && !t.Replace {
			return was, nil
		}
		return Entry{}, fmt.Errorf("%w: berth %s is under plan %s of %s, not %s of %s",
			ErrOtherPlan, plan.Berth, was.Fingerprint, was.Plan.Ship.Name, e.Fingerprint, plan.Ship.Name)
	case !known && len(b.Berths()) >= maxBerths:
		return Entry{}, ErrFull
	}
	if known && was.Plan.Ship.Name == plan.Ship.Name {
		e.Since = was.Since
	} else {
		e.Since = time.Now().UTC().Round(0)
	}
	if err := b.record(ctx, e, m, t.By); err != nil {
		return Entry{}, fmt.Errorf("berth %s: keep plan: %w", plan.Berth, err)
	}
	b.mu.Lock()
	b.current[plan.Berth] = e
	delete(b.spoilt, plan.Berth)
	b.mu.Unlock()
	if !known && b.onNew != nil {
		b.onNew(plan.Berth)
	}
	return e, nil
}

// replaced reports whether a plan was in force at the berth for the ship that the one
// in force is of.
func (b *Book) replaced(ctx context.Context, e, now Entry) (bool, error) {
	if e.Plan.Ship.Name != now.Plan.Ship.Name {
		return false, nil
	}
	_, err := b.PlanByFingerprint(ctx, e.Plan.Berth, e.Fingerprint)
	if errors.Is(err, ErrDamaged) {
		return false, nil // not on record
	}
	return err == nil, err
}

// record puts a plan on record, then puts its berth under it.
func (b *Book) record(ctx context.Context, e Entry, m *hawserv1.MooringPlan, by string) error {
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return err
	}
	if err := b.docs.Put(ctx, plansBucket, key(e.Plan.Berth, e.Fingerprint), data); err != nil {
		return err
	}
	b.unsure[e.Plan.Berth] = true
	if err := b.recordStay(ctx, e); err != nil {
		return err
	}
	if err := b.recordVersion(ctx, e, by); err != nil {
		return err
	}
	if err := b.docs.Put(ctx, currentBucket, e.Plan.Berth, []byte(e.Fingerprint)); err != nil {
		return err
	}
	delete(b.unsure, e.Plan.Berth)
	return nil
}

// PlanByFingerprint is the plan with this fingerprint that the berth is or was
// under. Its error is ErrDamaged where the record will not give it any more.
func (b *Book) PlanByFingerprint(ctx context.Context, berth, fingerprint string) (*mooring.Plan, error) {
	b.mu.RLock()
	e, ok := b.current[berth]
	if !ok || e.Fingerprint != fingerprint {
		e, ok = b.older[key(berth, fingerprint)]
	}
	b.mu.RUnlock()
	if ok {
		return e.Plan, nil
	}
	e, err := b.read(ctx, berth, fingerprint)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.older) >= maxBerths {
		clear(b.older) // a cache: what is asked for again is read again
	}
	b.older[key(berth, fingerprint)] = e
	return e.Plan, nil
}
