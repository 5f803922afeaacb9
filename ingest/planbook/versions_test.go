package planbook_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
)

// Who put a berth under which plan when is told, the newest first, and outlasts a
// restart; a plan put back is there twice, and each is still to be had as it was.
func TestVersions(t *testing.T) {
	teal := at(load(t, "coaster-8"), "a", "Teal")
	changed := proto.CloneOf(teal)
	changed.Lines[0].PretensionKn++
	d := newDocuments()
	b := open(t, d)
	before := time.Now()
	by := func(name string, of planbook.Terms) planbook.Terms {
		of.By = name
		return of
	}
	first, err := b.Put(t.Context(), teal, by("J. Alder", planbook.Terms{}))
	must(t, err)
	second, err := b.Put(t.Context(), changed, by("R. Stone", planbook.Terms{Replace: true, InPlaceOf: first.Fingerprint}))
	must(t, err)
	// A source that began under the first goes on, after a restart too, under the one in
	// force and no other; not one with a plan that never was.
	if e, err := open(t, d).Put(t.Context(), teal, planbook.Terms{By: "gateway"}); err != nil || e.Fingerprint != second.Fingerprint || e.Since != second.Since {
		t.Errorf("the plan that was replaced: %+v, %v", e, err)
	}
	never := proto.CloneOf(teal)
	never.Lines[0].PretensionKn += 2
	if _, err := b.Put(t.Context(), never, planbook.Terms{By: "gateway"}); !errors.Is(err, planbook.ErrOtherPlan) {
		t.Errorf("a plan that never was in force: %v", err)
	}
	// Whoever still had the first before them may not undo what they have not seen.
	if _, err := b.Put(t.Context(), teal, by("M. Ash", planbook.Terms{Replace: true, InPlaceOf: first.Fingerprint})); !errors.Is(err, planbook.ErrOtherPlan) {
		t.Errorf("in place of one that is not in force: %v", err)
	}
	if _, err := b.Put(t.Context(), teal, by("M. Ash", planbook.Terms{Replace: true, InPlaceOf: second.Fingerprint})); err != nil {
		t.Fatal(err)
	}

	versions, err := open(t, d).Versions(t.Context(), "a")
	if err != nil || len(versions) != 3 {
		t.Fatalf("%d versions, %v", len(versions), err)
	}
	for i, want := range []struct{ by, plan string }{{"M. Ash", first.Fingerprint}, {"R. Stone", second.Fingerprint}, {"J. Alder", first.Fingerprint}} {
		v := versions[i]
		if v.By != want.by || v.Fingerprint != want.plan || v.Ship != "Teal" || v.Lines != 8 || v.At.Before(before) || v.At.After(time.Now()) {
			t.Errorf("version %d: %+v, want %+v", i, v, want)
		}
	}
	m, err := b.Message(t.Context(), "a", second.Fingerprint)
	if err != nil || planfile.Fingerprint(m) != second.Fingerprint || !proto.Equal(m, changed) {
		t.Errorf("the second plan as it was put: %v", err)
	}
	if _, err := b.Message(t.Context(), "a", "0123456789abcdef"); !errors.Is(err, planbook.ErrDamaged) {
		t.Errorf("a plan that never was: %v", err)
	}
}

// The list is bounded, and one that cannot be read is told and begun anew.
func TestVersionsBounded(t *testing.T) {
	plan := load(t, "coaster-8")
	d := newDocuments()
	b := open(t, d)
	for i := range 205 {
		put(t, b, at(plan, "a", fmt.Sprintf("Teal %d", i)), true)
	}
	versions, err := b.Versions(t.Context(), "a")
	if err != nil || len(versions) != 200 || versions[0].Ship != "Teal 204" {
		t.Fatalf("%d versions, %v", len(versions), err)
	}
	must(t, d.Put(t.Context(), "versions", "a", []byte("[{")))
	if _, err := b.Versions(t.Context(), "a"); !errors.Is(err, planbook.ErrDamaged) {
		t.Errorf("torn: %v", err)
	}
	put(t, b, at(plan, "a", "Avocet"), true)
	if versions, err = b.Versions(t.Context(), "a"); err != nil || len(versions) != 1 || versions[0].Ship != "Avocet" {
		t.Errorf("%+v, %v", versions, err)
	}
}
