package watch_test

import (
	"errors"
	"slices"
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
)

// A line that has parted stays told under another plan of the same ship that still has
// it, and over a watch that knows nothing of it any more: neither says that it holds.
func TestAPartedLineStaysTold(t *testing.T) {
	plan := everyOther(loadPlan(t, "tanker-12"))
	ship := *plan
	ship.Ship.Name = "Another of Aldmouth"
	without := *plan
	without.Lines = slices.Clone(plan.Lines)
	without.Lines[0].ID = "21"
	for _, c := range []struct {
		name  string
		after *mooring.Plan
		want  []string // conditions that stand in the end
	}{
		{"another plan with the line", stronger(plan), []string{"line-parted", "redistribution"}},
		{"a plan without the line", &without, []string{"redistribution"}},
		{"another ship", &ship, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := restless(plan)
			s.loads = func(line, second int) float64 { return 100 + float64((second*7+line*5)%11)/10 }
			entries := s.entries(t, 100, 0, 10, first)
			entries = append(entries, s.entries(t, entries[len(entries)-1].Position, 10, 20, other)...)
			r := newRig(entries[:10], plans{first: plan, other: c.after})
			l := openLog(t, r.records)
			group := plan.Lines[0].Group
			err := errors.Join(l.Apply(t.Context(), berth, 100, []detect.Change{
				{Condition: detect.LineParted, Raised: true, Line: plan.Lines[0].ID, Group: group, Time: begin.UnixNano()},
				{Condition: detect.Redistribution, Raised: true, Group: group, Time: begin.UnixNano()},
			}), l.Close())
			if err != nil {
				t.Fatal(err)
			}
			r.toEnd(t) // without a snapshot
			r.journal.Add(entries[10:]...)
			r.toEnd(t)
			l = openLog(t, r.records)
			defer l.Close()
			var got []string
			standing, _ := l.List(berth, false)
			for i := range standing {
				got = append(got, standing[i].Condition)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("standing: %q, want %q", got, c.want)
			}
		})
	}
}
