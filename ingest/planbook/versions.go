package planbook

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	hawserv1 "hawser/proto/hawser/v1"
)

// Version is one time that a berth was put under a plan.
type Version struct {
	Fingerprint string    `json:"plan"`
	Ship        string    `json:"ship"`
	Lines       int       `json:"lines"`
	At          time.Time `json:"at"` // by the server's clock
	By          string    `json:"by,omitempty"`
}

// keptVersions bounds a berth's document; the oldest go first. Their plans stay on
// record, as batches name them.
const keptVersions = 200

// Versions lists the times at which a berth was put under a plan, the newest first.
// A version is on record before it is in force, so a stop in between leaves one
// that never was; which one is in force Current tells. Empty where nothing is on
// record, as of a berth put under its plan before versions were kept.
func (b *Book) Versions(ctx context.Context, berth string) ([]Version, error) {
	data, ok, err := b.docs.Get(ctx, versionBucket, berth)
	if err != nil {
		return nil, fmt.Errorf("berth %s: versions of its plan: %w", berth, err)
	}
	if !ok {
		return nil, nil
	}
	var all []Version
	if err := json.Unmarshal(data, &all); err != nil {
		return nil, damaged{fmt.Errorf("berth %s: versions of its plan: %w", berth, err)}
	}
	return all, nil
}

// recordVersion adds a version. A list that cannot be read is begun anew: it is no
// reason to refuse a plan.
func (b *Book) recordVersion(ctx context.Context, e Entry, by string) error {
	all, err := b.Versions(ctx, e.Plan.Berth)
	if err != nil && !errors.Is(err, ErrDamaged) {
		return err
	}
	v := Version{Fingerprint: e.Fingerprint, Ship: e.Plan.Ship.Name, Lines: len(e.Plan.Lines), At: time.Now().UTC().Round(0), By: by}
	all = append([]Version{v}, all...)
	data, err := json.Marshal(all[:min(len(all), keptVersions)])
	if err != nil {
		return err
	}
	if err := b.docs.Put(ctx, versionBucket, e.Plan.Berth, data); err != nil {
		return fmt.Errorf("berth %s: keep version: %w", e.Plan.Berth, err)
	}
	return nil
}

// Message is the plan with this fingerprint as it was put. Its error is ErrDamaged
// where the record does not have it.
func (b *Book) Message(ctx context.Context, berth, fingerprint string) (*hawserv1.MooringPlan, error) {
	_, m, err := b.readMessage(ctx, berth, fingerprint)
	return m, err
}
