package stay_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"hawser/services/stay"
)

var day = time.Date(2024, time.February, 28, 12, 0, 0, 0, time.UTC) // the day before a leap day

func at(hours float64) time.Time { return day.Add(time.Duration(hours * float64(time.Hour))) }

// told is one batch: from and to in hours, and the hours at which the watch began
// or, below zero, ended.
type told struct {
	ship, plan string
	from, to   float64
	watch      []float64
}

func fold(events ...told) *stay.Fold { return goOn(&stay.Fold{Berth: "east-3"}, events) }

func goOn(f *stay.Fold, events []told) *stay.Fold {
	for _, e := range events {
		ev := stay.Event{Ship: e.ship, Plan: e.plan, From: at(e.from), To: at(e.to)}
		for _, h := range e.watch {
			ev.Watch = append(ev.Watch, stay.Watch{At: at(math.Abs(h)), On: h > 0})
		}
		f.Take(&ev)
	}
	return f
}

func TestStays(t *testing.T) {
	type want struct {
		ship                            string
		plans                           int
		arrival, fast, letGo, departure float64 // hours; -1 for not
		gaps                            int
	}
	for _, c := range []struct {
		name string
		in   []told
		want []want
	}{
		{"a visit", []told{
			{"Heron", "a", 0, 1, []float64{-0.1, 1}},
			{"Heron", "a", 1, 30, nil},
			{"Heron", "a", 30, 31, []float64{-30.5}},
		}, []want{{"Heron", 1, 0, 1, 30.5, -1, 0}}},
		{"the next ship ends it", []told{
			{"Heron", "a", 0, 1, []float64{0.5}}, {"Curlew", "b", 4, 5, nil},
		}, []want{{"Heron", 1, 0, 0.5, -1, 1, 0}, {"Curlew", 1, 4, -1, -1, -1, 0}}},
		{"silence after the watch ends it, and she comes back", []told{
			{"Heron", "a", 0, 1, []float64{0.2, -0.9}}, {"Heron", "a", 7.5, 8, nil},
		}, []want{{"Heron", 1, 0, 0.2, 0.9, 1, 0}, {"Heron", 1, 7.5, -1, -1, -1, 0}}},
		{"silence under watch does not", []told{
			{"Heron", "a", 0, 1, []float64{0.2}}, {"Heron", "a", 30, 31, nil},
		}, []want{{"Heron", 1, 0, 0.2, -1, -1, 1}}},
		{"but three days of it do", []told{
			{"Heron", "a", 0, 1, []float64{0.2}}, {"Heron", "a", 74, 75, nil},
		}, []want{{"Heron", 1, 0, 0.2, -1, 1, 0}, {"Heron", 1, 74, -1, -1, -1, 0}}},
		{"another plan of hers is the same stay", []told{
			{"Heron", "a", 0, 1, nil}, {"Heron", "b", 1, 2, nil},
		}, []want{{"Heron", 2, 0, -1, -1, -1, 0}}},
		{"watch that comes back is the same watch", []told{
			{"Heron", "a", 0, 1, []float64{0.2}}, {"Heron", "a", 1, 2, []float64{-1.5}},
			{"Heron", "a", 2, 3, []float64{2.5}},
		}, []want{{"Heron", 1, 0, 0.2, -1, -1, 0}}},
		{"what comes again changes nothing", []told{
			{"Heron", "a", 0, 1, []float64{0.2}}, {"Heron", "a", 1, 2, []float64{-1.5}},
			{"Heron", "a", 0, 1, []float64{0.2}}, {"Heron", "a", 1, 2, []float64{-1.5}},
		}, []want{{"Heron", 1, 0, 0.2, 1.5, -1, 0}}},
		{"a source that is a little behind still has its word", []told{
			{"Heron", "a", 0, 1, nil}, {"Heron", "a", 0.5, 0.99, []float64{0.6}},
		}, []want{{"Heron", 1, 0, 0.6, -1, -1, 0}}},
		{"readings of the ship before, come late, change nothing", []told{
			{"Heron", "a", 0, 1, nil}, {"Curlew", "b", 4, 5, nil}, {"Heron", "a", 0.5, 1.5, []float64{1.2}},
		}, []want{{"Heron", 1, 0, -1, -1, 1, 0}, {"Curlew", 1, 4, -1, -1, -1, 0}}},
		{"gaps are counted", []told{
			{"Heron", "a", 0, 1, nil}, {"Heron", "a", 1.01, 2, nil}, {"Heron", "a", 2.5, 3, nil},
		}, []want{{"Heron", 1, 0, -1, -1, -1, 1}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := fold(c.in...)
			if len(f.Stays) != len(c.want) {
				t.Fatalf("%d stays, want %d: %+v", len(f.Stays), len(c.want), f.Stays)
			}
			same := func(got time.Time, want float64) bool {
				if want < 0 {
					return got.IsZero()
				}
				return got.Equal(at(want))
			}
			for k, w := range c.want {
				s := f.Stays[k]
				if s.Ship != w.ship || len(s.Plans) != w.plans || s.GapsAll != w.gaps ||
					!same(s.Arrival, w.arrival) || !same(s.MadeFast, w.fast) || !same(s.LetGo, w.letGo) || !same(s.Departure, w.departure) {
					t.Errorf("stay %d: %+v, want %+v", k, s, w)
				}
			}
		})
	}
}

// A fold kept in between and read again goes on as if it had not been.
func TestFoldIsIndependentOfWhereItWasKept(t *testing.T) {
	events := []told{
		{"Heron", "a", 0, 1, []float64{0.2}}, {"Heron", "b", 1, 20, nil}, {"Heron", "b", 21, 22, []float64{-21.5}},
		{"Curlew", "c", 30, 31, []float64{30.5}}, {"Curlew", "c", 32, 33, nil},
	}
	whole, err := json.Marshal(fold(events...))
	if err != nil {
		t.Fatal(err)
	}
	for cut := range events {
		kept, err := json.Marshal(fold(events[:cut]...))
		if err != nil {
			t.Fatal(err)
		}
		f := &stay.Fold{}
		if err := json.Unmarshal(kept, f); err != nil {
			t.Fatal(err)
		}
		goOn(f, events[max(0, cut-1):]) // the last before the cut comes again
		got, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != string(whole) {
			t.Errorf("cut at %d:\n%s\n%s", cut, got, whole)
		}
	}
}
