package main

import (
	"reflect"
	"testing"
	"time"

	"hawser/ingest/journal"
	"hawser/services/rounds"
)

func TestLimitsOfTheJournal(t *testing.T) {
	var l limits
	began := time.Now().Add(-time.Second)
	look := func(since time.Time) (s rounds.Sight) {
		l.look(&s, since)
		return s
	}
	if got := look(began); !reflect.DeepEqual(got, rounds.Sight{}) {
		t.Errorf("at first: %+v", got)
	}
	l.pressure(journal.Pressure{Kind: journal.UnreadAge, Reader: "store", Share: 0.8, Raised: true})
	l.pressure(journal.Pressure{Kind: journal.Disk, Share: 0.96, Raised: true})
	l.pressure(journal.Pressure{Kind: journal.UnreadBytes, Reader: "store", Share: 0.9, Raised: true})
	l.pressure(journal.Pressure{Kind: journal.UnreadBytes, Reader: "store", Share: 0.5})
	l.loss(journal.Loss{Reader: "watch-b", From: 7, To: 18})
	l.loss(journal.Loss{Reader: "watch-b", From: 30, To: 30})
	l.loss(journal.Loss{Reader: "store", From: 30, To: 31, Damaged: true})
	want := rounds.Sight{
		Limits: []rounds.Limit{{Kind: "disk", Share: 0.96}, {Kind: "unread-age", Reader: "store", Share: 0.8}},
		Losses: []rounds.Loss{{Reader: "store", Batches: 2, From: 30, To: 31}, {Reader: "watch-b", Batches: 13, From: 30, To: 30}},
	}
	if got := look(began); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	if got := look(time.Now()); got.Losses != nil || len(got.Limits) != 2 {
		t.Errorf("later: %+v", got)
	}
}
