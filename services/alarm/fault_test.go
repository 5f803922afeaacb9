package alarm_test

import (
	"bytes"
	"errors"
	"log/slog"
	"reflect"
	"slices"
	"strings"
	"testing"

	"hawser/detect"
	"hawser/services/alarm"
	"hawser/services/alarm/alarmtest"
)

var errDisk = errors.New("no space left on device")

// once gives a fault that happens at the next append only.
func once(kept bool) func() (bool, error) {
	done := false
	return func() (bool, error) {
		if done {
			return true, nil
		}
		done = true
		return kept, errDisk
	}
}

func TestAppendThatFailsOrIsLostSightOf(t *testing.T) {
	for name, kept := range map[string]bool{"nothing kept": false, "kept, but the answer was lost": true} {
		t.Run(name, func(t *testing.T) {
			m := &alarmtest.Records{}
			l := openOn(t, m)
			changes := []detect.Change{change(detect.OverLimit, "4", true, 0), change(detect.OverLimit, "5", true, 0)}
			m.Fault = once(kept)
			err := l.Apply(t.Context(), "east-3", 8, changes)
			if !errors.Is(err, errDisk) || !strings.Contains(err.Error(), "berth east-3: journal position 8") {
				t.Fatalf("error: %v", err)
			}
			must(t, l.Apply(t.Context(), "east-3", 8, changes))
			if got := collect(t, l); len(got) != 2 || got[0].Line != "4" || got[1].Line != "5" {
				t.Errorf("records: %+v", got)
			}
		})
	}
}

// The process dies after the append and before the state has it.
func TestKilledBetweenAppendAndState(t *testing.T) {
	m := &alarmtest.Records{}
	l := openOn(t, m)
	m.Fault = once(true)
	if err := l.Apply(t.Context(), "east-3", 8, raised(detect.LineParted, "4", 0)); err == nil {
		t.Fatal("the fault did not happen")
	}
	if len(ids(l, "", false)) != 0 {
		t.Fatal("shown before it was known to be kept")
	}
	after := openOn(t, m) // the first is left as a killed process leaves it
	if len(ids(after, "", false)) != 1 {
		t.Fatal("not found after the restart")
	}
	must(t, after.Apply(t.Context(), "east-3", 8, raised(detect.LineParted, "4", 0)))
	if n := len(collect(t, after)); n != 1 {
		t.Errorf("%d records, want 1", n)
	}
}

// An append that was given up reaches the log after its repeat did.
func TestAppendThatComesThroughLate(t *testing.T) {
	m := &alarmtest.Records{}
	l := openOn(t, m)
	must(t, l.Apply(t.Context(), "east-3", 8, raised(detect.OverLimit, "4", 0)))
	must(t, l.Apply(t.Context(), "east-3", 9, cleared(detect.OverLimit, "4", 5)))
	m.Kept = append(m.Kept, m.Kept[0])
	must(t, l.Apply(t.Context(), "east-3", 10, raised(detect.SnapLoad, "5", 9)))
	want := []string{"east-3/snap-load/5/2026-03-01T04:05:15.700Z"}
	if got := ids(l, "", false); !slices.Equal(got, want) {
		t.Errorf("active: %q, want %q", got, want)
	}
	if got := ids(openOn(t, m), "", false); !slices.Equal(got, want) {
		t.Errorf("active after restart: %q, want %q", got, want)
	}
}

func TestUnreadableRecordsArePassedOverAndTold(t *testing.T) {
	for name, spoil := range map[string]func([]byte) []byte{
		"torn":                       func(b []byte) []byte { return b[:len(b)/2] },
		"no message":                 func([]byte) []byte { return []byte{0xff, 0xff, 0xff} },
		"empty":                      func([]byte) []byte { return nil },
		"transition of a later form": func(b []byte) []byte { return append(b, 0x18, 0x63) }, // field 3, varint, 99
		"priority of a later form":   func(b []byte) []byte { return append(b, 0x50, 0x63) }, // field 10, varint, 99
	} {
		t.Run(name, func(t *testing.T) {
			m := &alarmtest.Records{}
			l := openOn(t, m)
			must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
			must(t, l.Apply(t.Context(), "east-3", 2, raised(detect.OverLimit, "5", 0)))
			must(t, l.Close())
			m.Kept[0] = spoil(m.Kept[0])

			var told bytes.Buffer
			o := options(m)
			o.Logger = slog.New(slog.NewTextHandler(&told, nil))
			l = open(t, o)
			if got := ids(l, "", false); len(got) != 1 || !strings.Contains(got[0], "/over-limit/5/") {
				t.Errorf("active: %q", got)
			}
			if !strings.Contains(told.String(), "position=1") {
				t.Errorf("log does not name the position: %s", told.String())
			}
			if got := collect(t, l); len(got) != 1 || got[0].Position != 2 {
				t.Errorf("watched: %+v", got)
			}
		})
	}
}

func TestPlanReplaced(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		l := openOn(t, r)
		must(t, l.Apply(t.Context(), "east-3", 5, []detect.Change{change(detect.OverLimit, "4", true, 0), change(detect.SnapLoad, "5", true, 0)}))
		must(t, l.Apply(t.Context(), "west-1", 6, raised(detect.OverLimit, "4", 0)))
		must(t, l.RaiseOwn(t.Context(), alarm.Own{Berth: "east-3", Condition: "link-silent", Priority: detect.Warning}))
		replace := func() { must(t, l.Reconcile(t.Context(), "east-3", 9, nil, nil, "The mooring plan was replaced.")) }
		replace()
		if got := ids(l, "east-3", false); len(got) != 1 || !strings.HasPrefix(got[0], "east-3/link-silent/") {
			t.Fatalf("active: %q", got)
		}
		if len(ids(l, "west-1", false)) != 1 {
			t.Fatal("another berth's alarm was cleared")
		}
		records := collect(t, l)
		if last := records[len(records)-1]; last.Transition != alarm.Cleared || last.Detail != "The mooring plan was replaced." {
			t.Errorf("last record: %+v", last)
		}
		// The first entry under the new plan raises; all of it comes twice.
		must(t, l.Apply(t.Context(), "east-3", 10, raised(detect.OverLimit, "4", 20)))
		n := len(collect(t, l))
		replace()
		must(t, l.Apply(t.Context(), "east-3", 10, raised(detect.OverLimit, "4", 20)))
		if got := len(collect(t, l)); got != n {
			t.Errorf("%d records after the repeat, want %d", got, n)
		}
		if got := ids(l, "east-3", false); len(got) != 2 {
			t.Errorf("active after the repeat: %q", got)
		}
	})
}

func TestReconcileHalfDoneIsFinished(t *testing.T) {
	m := &alarmtest.Records{}
	l := openOn(t, m)
	must(t, l.Apply(t.Context(), "east-3", 5, []detect.Change{change(detect.OverLimit, "4", true, 0), change(detect.SnapLoad, "5", true, 0)}))
	n := 0
	m.Fault = func() (bool, error) {
		if n++; n == 2 {
			return false, errDisk
		}
		return true, nil
	}
	if err := l.Reconcile(t.Context(), "east-3", 9, nil, nil, "plan replaced"); !errors.Is(err, errDisk) {
		t.Fatalf("error: %v", err)
	}
	must(t, l.Reconcile(t.Context(), "east-3", 9, nil, nil, "plan replaced"))
	if got := ids(l, "", false); len(got) != 0 {
		t.Errorf("active: %q", got)
	}
}

func TestReconcileBringsWhatTheDetectorsHold(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 5, []detect.Change{change(detect.OverLimit, "4", true, 0), change(detect.SnapLoad, "5", true, 0)}))
	held := []detect.Change{change(detect.OverLimit, "4", true, 0), change(detect.Imbalance, "6", true, 3), change(detect.Imbalance, "6", true, 3)}
	must(t, l.Reconcile(t.Context(), "east-3", 5, held, nil, "not found when the watch started again"))
	want := []string{"east-3/over-limit/4/2026-03-01T04:05:06.700Z", "east-3/imbalance/6/2026-03-01T04:05:09.700Z"}
	if got := ids(l, "", false); !slices.Equal(got, want) {
		t.Errorf("active: %q, want %q", got, want)
	}
}

// A power cut takes positions 101 to 105 out of the journal; other readings get
// them.
func TestJournalWentBack(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		l := openOn(t, r)
		must(t, l.Apply(t.Context(), "east-3", 90, raised(detect.OverLimit, "1", 0)))
		must(t, l.Apply(t.Context(), "east-3", 101, raised(detect.OverLimit, "2", 10)))
		must(t, l.Apply(t.Context(), "east-3", 105, raised(detect.OverLimit, "3", 20)))
		must(t, l.Rewind(t.Context(), "east-3", 100))
		must(t, l.Rewind(t.Context(), "west-1", 100)) // had nothing applied
		if got := l.Applied("east-3"); got != 100 {
			t.Fatalf("applied up to %d, want 100", got)
		}
		must(t, l.Close())
		l = openOn(t, r) // and it holds after a restart, when the journal has grown past 105
		must(t, l.Rewind(t.Context(), "east-3", 110))
		n := l.Position()

		must(t, l.Apply(t.Context(), "east-3", 90, raised(detect.OverLimit, "1", 0)))   // from before the cut: a repeat
		must(t, l.Apply(t.Context(), "east-3", 102, raised(detect.OverLimit, "2", 10))) // comes again elsewhere: active already
		if l.Position() != n {
			t.Error("what is active was raised again")
		}
		must(t, l.Apply(t.Context(), "east-3", 103, raised(detect.SnapLoad, "4", 15))) // new
		must(t, l.Apply(t.Context(), "east-3", 104, cleared(detect.OverLimit, "2", 18)))
		want := []string{"east-3/over-limit/3/2026-03-01T04:05:26.700Z", "east-3/over-limit/1/2026-03-01T04:05:06.700Z", "east-3/snap-load/4/2026-03-01T04:05:21.700Z"}
		if got := ids(l, "", false); !slices.Equal(got, want) {
			t.Errorf("active: %q, want %q", got, want)
		}
		live, _ := l.List("", true)
		if again, _ := openOn(t, r).List("", true); !reflect.DeepEqual(again, live) {
			t.Errorf("after restart %+v, before %+v", again, live)
		}
	})
}

// What was raised and cleared by readings that the journal lost is not told again when
// they come again, at whatever position; that it is raised at another time is.
func TestLostReadingsTellTheSameOnce(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		l := openOn(t, r)
		must(t, l.Apply(t.Context(), "east-3", 101, raised(detect.SnapLoad, "2", 10)))
		must(t, l.Apply(t.Context(), "east-3", 102, cleared(detect.SnapLoad, "2", 12)))
		must(t, l.Rewind(t.Context(), "east-3", 100))
		must(t, l.Close())
		l = openOn(t, r)
		n := l.Position()
		must(t, l.Apply(t.Context(), "east-3", 103, raised(detect.SnapLoad, "2", 10)))
		must(t, l.Apply(t.Context(), "east-3", 104, cleared(detect.SnapLoad, "2", 12)))
		if l.Position() != n {
			t.Errorf("told again: %d records, want %d", l.Position(), n)
		}
		must(t, l.Apply(t.Context(), "east-3", 105, raised(detect.SnapLoad, "2", 20)))
		const id = "east-3/snap-load/2/2026-03-01T04:05:26.700Z"
		if got := ids(l, "", false); !slices.Equal(got, []string{id}) {
			t.Errorf("active: %q, want %s", got, id)
		}
	})
}

// The same recording sent again under a new plan has the same times: its alarms
// are new ones.
func TestSameTimeAgainIsAnotherAlarm(t *testing.T) {
	l := openOn(t, &alarmtest.Records{})
	must(t, l.Apply(t.Context(), "east-3", 1, raised(detect.OverLimit, "4", 0)))
	must(t, l.Reconcile(t.Context(), "east-3", 1, nil, nil, "plan replaced"))
	must(t, l.Apply(t.Context(), "east-3", 2, raised(detect.OverLimit, "4", 0)))
	const id = "east-3/over-limit/4/2026-03-01T04:05:06.700Z"
	if got := ids(l, "", true); !slices.Equal(got, []string{id + "~2", id}) {
		t.Errorf("ids: %q", got)
	}
}

// A journal that lost everything begins again at position 1, and what it brings
// is new, also when the log is opened again.
func TestJournalLostEverything(t *testing.T) {
	everyRecords(t, func(t *testing.T, r alarm.Records) {
		l := openOn(t, r)
		must(t, l.Apply(t.Context(), "east-3", 6, raised(detect.OverLimit, "1", 1)))
		must(t, l.Rewind(t.Context(), "east-3", 0))
		must(t, l.Close())
		l = openOn(t, r)
		must(t, l.Apply(t.Context(), "east-3", 3, raised(detect.OverLimit, "2", 2)))
		if active := ids(l, "east-3", false); len(active) != 2 {
			t.Errorf("active are %v, want both lines", active)
		}
	})
}
