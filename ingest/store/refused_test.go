package store_test

import (
	"errors"
	"io"
	"testing"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/storetest"
)

func TestRefusedInWords(t *testing.T) {
	at := storetest.Start.UnixNano()
	r := &store.Refused{}
	if r.AsError() != nil {
		t.Error("nothing refused is an error")
	}
	r.Add(store.TooOld, 3, "jetty-1", reading.Channel{Line: "7", Kind: reading.Tension}, at)
	r.Add(store.Rejected, 1, "jetty-2", reading.Channel{Kind: reading.WindSpeed}, at+1)
	r.Err = io.ErrUnexpectedEOF
	want := `readings refused: 3 too old, 1 rejected; first: berth "jetty-1": "7/tension" at 2026-03-01T04:00:00Z: unexpected EOF`
	if err := r.AsError(); err == nil || err.Error() != want || !errors.Is(err, io.ErrUnexpectedEOF) || r.Total() != 4 {
		t.Errorf("%v, %d in all, want %s", err, r.Total(), want)
	}
	down := &store.Unavailable{Err: io.ErrUnexpectedEOF}
	if down.Error() != "store unavailable: unexpected EOF" || !errors.Is(down, io.ErrUnexpectedEOF) {
		t.Error(down)
	}
}
