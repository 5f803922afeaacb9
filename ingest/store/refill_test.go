package store_test

import (
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"hawser/ingest/store"
)

// What is wanted is wanted by every start until it has begun, whether or not the start
// got as far as to say so.
func TestRefill(t *testing.T) {
	dir := t.TempDir()
	start := func(want bool) *store.Refill {
		t.Helper()
		r := store.NewRefill(dir, slog.New(slog.DiscardHandler))
		if r.Wanted() != want {
			t.Errorf("wanted %t, want %t", r.Wanted(), want)
		}
		return r
	}
	start(false).Opened()
	start(false) // and killed while it opened
	start(true).Opened()
	start(true).Begun()
	r := start(false)
	r.Want()
	r.Opened()
	if !r.Wanted() {
		t.Error("not wanted by the start that found it")
	}
	start(true).Begun()
	start(false)
}

// Where no note can be written the store is opened all the same, and it is told.
func TestRefillWithoutRoom(t *testing.T) {
	var told strings.Builder
	r := store.NewRefill(filepath.Join(t.TempDir(), "gone"), slog.New(slog.NewTextHandler(&told, nil)))
	r.Want()
	r.Opened()
	if !r.Wanted() {
		t.Error("not wanted")
	}
	r.Begun()
	if n := strings.Count(told.String(), "level=WARN"); n != 2 {
		t.Errorf("%d warnings, want one for the note and one for its removal: %s", n, told.String())
	}
}
