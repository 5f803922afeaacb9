package intake

import (
	"testing"
	"time"
)

// How long a source that is at noon waits for one that was at five minutes before, seconds.
func TestAwaited(t *testing.T) {
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	after := func(s float64) time.Time { return noon.Add(time.Duration(s * float64(time.Second))) }
	for _, test := range []struct {
		name        string
		claims      int
		heard       heard   // what is said of the one behind
		began       float64 // when the server did, seconds after noon
		opened, now float64 // when the stream of the one that waits did, and the present
		want        float64
	}{
		{name: "it is to come back to a server that started", heard: heard{before: true}, opened: 3, now: 3, want: 5},
		{name: "it has had the time for that", heard: heard{before: true}, opened: 3, now: 8},
		{name: "it was heard lately, and so the link of both was down", heard: heard{last: after(-30)}, began: -3600, opened: 3, now: 3, want: 5},
		{name: "it was not heard for long", heard: heard{last: after(-90)}, began: -3600, opened: 3, now: 3},
		{name: "it was to end", heard: heard{last: after(-30), done: true}, began: -3600, opened: 3, now: 3},
		{name: "it came and went again", heard: heard{last: after(3.5)}, opened: 3, now: 4},
		{name: "it is back and has sent nothing", claims: 1, heard: heard{before: true}, opened: 3, now: 4, want: 4},
		{name: "it is back and sends nothing", claims: 1, heard: heard{before: true, opened: after(3)}, opened: 3, now: 8},
		{name: "it is just back", claims: 1, heard: heard{before: true, opened: after(7)}, opened: 3, now: 8, want: 4},
		{name: "it sends", claims: 1, heard: heard{last: after(8)}, opened: 3, now: 9, want: 4},
		{name: "it sends for long", claims: 1, heard: heard{last: after(15)}, opened: 3, now: 16, want: 2},
		{name: "it is back and waits as well", claims: 1, heard: heard{before: true, waits: true}, opened: 3, now: 5, want: 5},
		{name: "it waited until now", claims: 1, heard: heard{before: true, waited: after(5)}, opened: 3, now: 5, want: 5},
		{name: "it sends no more", claims: 1, heard: heard{last: after(8)}, opened: 3, now: 13},
	} {
		t.Run(test.name, func(t *testing.T) {
			b := newBerth("jetty-2", newMetrics(nil), after(test.began))
			ahead, err := b.source("bow", 2)
			if err != nil {
				t.Fatal(err)
			}
			behind, err := b.source("stern", 2)
			if err != nil {
				t.Fatal(err)
			}
			behind.claims, behind.heard = test.claims, test.heard
			behind.heard.reached = after(-300).UnixNano()
			opened := after(test.opened)
			d := &delivery{berth: b, src: ahead, opened: opened, until: b.waitsUntil(opened)}
			left, moved := d.behind(noon.UnixNano(), after(test.now))
			if got := max(left, 0).Seconds(); got != test.want {
				t.Errorf("waits for %v s, want %v", got, test.want)
			}
			if left <= 0 {
				return
			}
			b.comesTo(behind, noon.UnixNano())
			select {
			case <-moved:
			default:
				t.Error("it waits on when the other has come as far")
			}
		})
	}
}
