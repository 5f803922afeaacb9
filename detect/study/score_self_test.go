package study_test

import (
	"testing"

	"hawser/detect"
	"hawser/detect/mooring"
)

// judged is a small truth worked by hand: a parting at 100 s that may be told as
// a redistribution and whose line may be told slack, a jump of the head lines at
// 300 s, snatching from 600 s, and an imbalance that nobody minds at 505 s.
func judged() *truth {
	return &truth{lineHours: 2,
		tolerate: []window{
			{500, 510, []detect.Condition{detect.Imbalance}, []string{"9"}},
			{99.5, 223, []detect.Condition{detect.SlackLine}, []string{"4"}},
		},
		events: []event{
			{condition: detect.LineParted, line: "4", from: 99.5, onset: 100, deadline: 103,
				accept:   []detect.Condition{detect.Redistribution},
				tolerate: []window{{100, 400, []detect.Condition{detect.LineParted}, []string{"4"}}}},
			{condition: detect.Redistribution, groups: []mooring.Group{mooring.Head}, from: 299.5, onset: 300, deadline: 305},
			{condition: detect.SnapLoad, line: "1", from: 599.5, onset: 600, deadline: 603, repeats: true,
				tolerate: []window{{600, 700, []detect.Condition{detect.SnapLoad}, []string{"1"}}}},
		}}
}

func TestScoring(t *testing.T) {
	for name, c := range map[string]struct {
		alarms                                []alarm
		missed, wrong, chatter, late, neutral int
	}{
		"silence": {missed: 3},
		"all told, one twice": {alarms: []alarm{
			{at: 101, condition: detect.LineParted, line: "4"},
			{at: 160, condition: detect.SlackLine, line: "4"},
			{at: 200, condition: detect.LineParted, line: "4"}, // chatter
			{at: 301, condition: detect.Redistribution, group: mooring.Head},
			{at: 505, condition: detect.Imbalance, line: "9"},
			{at: 601, condition: detect.SnapLoad, line: "1"},
			{at: 660, condition: detect.SnapLoad, line: "1"}, // a new one
		}, chatter: 1, neutral: 3},
		"late, early and of others": {alarms: []alarm{
			{at: 99, condition: detect.LineParted, line: "4"},
			{at: 101, condition: detect.LineParted, line: "5"},
			{at: 104, condition: detect.LineParted, line: "4"}, // late
			{at: 160, condition: detect.SlackLine, line: "5"},
			{at: 302, condition: detect.Redistribution, group: mooring.Stern},
		}, missed: 3, wrong: 4, late: 1},
		"told as what is accepted": {alarms: []alarm{
			{at: 102, condition: detect.Redistribution, line: "4"},
		}, missed: 2},
	} {
		t.Run(name, func(t *testing.T) {
			r := score(judged(), c.alarms)
			if len(r.missed) != c.missed || len(r.wrong) != c.wrong || r.chatter != c.chatter || r.late != c.late || r.neutral != c.neutral {
				t.Errorf("missed %d, false %d, chatter %d, late %d, neutral %d; want %d, %d, %d, %d, %d", len(r.missed),
					len(r.wrong), r.chatter, r.late, r.neutral, c.missed, c.wrong, c.chatter, c.late, c.neutral)
			}
		})
	}
	r := score(judged(), []alarm{{at: 101, condition: detect.LineParted, line: "4"}})
	if d := r.by[detect.LineParted].delays; len(d) != 1 || d[0] != 1 {
		t.Errorf("delays %v, want 1 s", d)
	}
}
