package planbook_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"hawser/ingest/planbook"
)

// since is when the present ship of berth a came.
func since(t *testing.T, b *planbook.Book) time.Time {
	t.Helper()
	e, ok := b.Current("a")
	if !ok || e.Since.IsZero() {
		t.Fatalf("berth a: %+v, on record %v", e, ok)
	}
	return e.Since
}

// A stay begins with the ship's first plan and outlasts her other plans and a
// restart. The same ship come back after another one is a stay of its own.
func TestStay(t *testing.T) {
	teal := at(load(t, "coaster-8"), "a", "Teal")
	changed := proto.CloneOf(teal)
	changed.Lines[0].MblKn++
	d := newDocuments()
	before := time.Now()
	put(t, open(t, d), teal, false)
	first := since(t, open(t, d))
	if first.Before(before) || first.After(time.Now()) {
		t.Errorf("since %v, put between %v and now", first, before)
	}
	b := open(t, d)
	put(t, b, changed, true)
	if got := since(t, b); !got.Equal(first) {
		t.Errorf("with another plan of the same ship: since %v, want %v", got, first)
	}
	put(t, b, at(teal, "a", "Avocet"), true)
	second := since(t, b)
	if !second.After(first) {
		t.Errorf("another ship: since %v, not after %v", second, first)
	}
	put(t, b, teal, true)
	if got := since(t, b); !got.After(second) {
		t.Errorf("come back: since %v, not after %v", got, second)
	}
	if got, want := since(t, open(t, d)), since(t, b); !got.Equal(want) {
		t.Errorf("after a restart: since %v, want %v", got, want)
	}
}

// A stay that is not on record, is of another ship or cannot be read begins when
// that is found, and is on record from then.
func TestStayNotOnRecord(t *testing.T) {
	for name, document := range map[string]string{
		"none": "", "of another ship": "2026-03-01T04:00:00Z Avocet", "no time": "soon Teal", "time only": "2026-03-01T04:00:00Z",
	} {
		d := newDocuments()
		put(t, open(t, d), at(load(t, "coaster-8"), "a", "Teal"), false)
		d.data["stays"]["a"] = []byte(document)
		if document == "" {
			delete(d.data["stays"], "a")
		}
		before := time.Now()
		found := since(t, open(t, d))
		if found.Before(before) || found.After(time.Now()) {
			t.Errorf("%s: since %v, opened between %v and now", name, found, before)
		}
		if again := since(t, open(t, d)); !again.Equal(found) {
			t.Errorf("%s: opened again: since %v, want %v", name, again, found)
		}
	}
}
