package planbook_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
)

// A write that fails leaves the old plan current, and a second try puts it right,
// whether or not the write came through.
func TestDocumentsFailMidway(t *testing.T) {
	plan := load(t, "coaster-8")
	teal, avocet := at(plan, "a", "Teal"), at(plan, "a", "Avocet")
	for _, bucket := range []string{"plans", "stays", "versions", "current"} {
		for _, kept := range []bool{false, true} {
			for _, then := range []string{"Teal", "Avocet"} {
				d := newDocuments()
				b := open(t, d)
				put(t, b, teal, false)
				d.put = func(in, _ string) (bool, error) {
					if in == bucket {
						return kept, errDisk
					}
					return true, nil
				}
				_, err := b.Put(t.Context(), avocet, planbook.Terms{Replace: true})
				if !errors.Is(err, errDisk) || !strings.HasPrefix(err.Error(), "berth a: keep plan: ") {
					t.Errorf("%s: error %v", bucket, err)
				}
				under(t, b, "a", "Teal")
				d.put = nil
				again := avocet
				if then == "Teal" {
					again = teal
				}
				put(t, b, again, true)
				under(t, b, "a", then)
				under(t, open(t, d), "a", then)
			}
		}
	}
}

// A new berth that could not be put on record is not told of and not there.
func TestNewBerthCannotBeKept(t *testing.T) {
	plan := at(load(t, "coaster-8"), "a", "Teal")
	d := newDocuments()
	told := 0
	b, err := planbook.Open(t.Context(), d, func(string) { told++ })
	must(t, err)
	d.put = func(bucket, _ string) (bool, error) {
		if bucket == "current" {
			return false, errDisk
		}
		return true, nil
	}
	if _, err := b.Put(t.Context(), plan, planbook.Terms{}); !errors.Is(err, errDisk) || told != 0 || len(b.Berths()) != 0 {
		t.Errorf("error %v, told %d times, berths %q", err, told, b.Berths())
	}
	d.put = nil
	put(t, b, plan, false)
	if told != 1 {
		t.Errorf("told %d times", told)
	}
}

// What is on record and cannot be used is told with its place; only its berth is
// without a plan, until it is put under one.
func TestDamagedRecord(t *testing.T) {
	plan := at(load(t, "coaster-8"), "a", "Teal")
	fingerprint := planfile.Fingerprint(plan)
	name := "a_" + fingerprint
	for _, c := range []struct {
		name  string
		spoil func(d *documents)
		want  string
	}{
		{"torn", func(d *documents) { d.data["plans"][name] = d.data["plans"][name][:40] },
			"berth a: plan " + fingerprint + " is damaged: its fingerprint is "},
		{"another load", func(d *documents) {
			m := proto.CloneOf(plan)
			m.Lines[0].MblKn++
			d.data["plans"][name], _ = proto.Marshal(m)
		}, "berth a: plan " + fingerprint + " is damaged: its fingerprint is "},
		{"no plan", func(d *documents) { delete(d.data["plans"], name) },
			"berth a: plan " + fingerprint + " is not on record"},
		{"no such fingerprint", func(d *documents) { d.data["current"]["a"] = []byte("0123456789abcdef") },
			"berth a: plan 0123456789abcdef is not on record"},
		{"plan of another berth", func(d *documents) {
			d.data["current"]["b"] = d.data["current"]["a"]
			d.data["plans"]["b_"+fingerprint] = d.data["plans"][name]
		}, "berth b: plan " + fingerprint + " is of berth a"},
		{"current gone since listed", func(d *documents) {
			d.get = func(bucket, key string) error {
				delete(d.data[bucket], "a")
				return nil
			}
		}, "berth a: current plan is not on record"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDocuments()
			put(t, open(t, d), plan, false)
			put(t, open(t, d), at(plan, "c", "Dipper"), false)
			c.spoil(d)
			told := 0
			b, err := planbook.Open(t.Context(), d, func(string) { told++ })
			must(t, err)
			berth := c.want[len("berth "):len("berth a")]
			got := b.Damaged()
			if err := got[berth]; len(got) != 1 || !errors.Is(err, planbook.ErrDamaged) || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "%!") {
				t.Errorf("damaged: %v, want %s", got, c.want)
			}
			under(t, b, "c", "Dipper")
			if _, ok := b.Current(berth); ok || slices.Contains(b.Berths(), berth) {
				t.Errorf("berth %s is under a plan", berth)
			}
			d.get = nil
			put(t, b, at(plan, berth, "Teal"), false)
			if told != 1 || len(b.Damaged()) != 0 {
				t.Errorf("put again: told %d times, damaged %v", told, b.Damaged())
			}
			under(t, b, berth, "Teal")
			under(t, open(t, d), berth, "Teal")
		})
	}
}

// unread has every document of a bucket fail to be read.
func unread(bucket string) func(*documents) {
	return func(d *documents) {
		d.get = func(of, _ string) error {
			if of == bucket {
				return errDisk
			}
			return nil
		}
	}
}

// A record that does not answer is waited for by the one who opens it: nothing is
// known of it yet.
func TestRecordDoesNotAnswer(t *testing.T) {
	plan := at(load(t, "coaster-8"), "a", "Teal")
	fingerprint := planfile.Fingerprint(plan)
	for _, c := range []struct {
		name  string
		spoil func(d *documents)
		want  string
	}{
		{"current cannot be read", unread("current"), "berth a: current plan: " + errDisk.Error()},
		{"plan cannot be read", unread("plans"), "berth a: plan " + fingerprint + ": " + errDisk.Error()},
		{"berths cannot be listed", func(d *documents) { d.key = func() error { return errDisk } },
			"plans on record: " + errDisk.Error()},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDocuments()
			put(t, open(t, d), plan, false)
			c.spoil(d)
			_, err := planbook.Open(t.Context(), d, nil)
			if !errors.Is(err, errDisk) || errors.Is(err, planbook.ErrDamaged) || !strings.HasPrefix(err.Error(), c.want) {
				t.Errorf("error: %v, want %s", err, c.want)
			}
		})
	}
}

// A plan that was good when it was put, but breaks a constraint made since, is told
// by the place in it.
func TestPlanOnRecordBreaksAConstraint(t *testing.T) {
	plan := at(load(t, "coaster-8"), "a", "Teal")
	plan.Lines[2].MblKn = -5
	fingerprint := planfile.Fingerprint(plan)
	d := newDocuments()
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(plan)
	must(t, err)
	d.data["plans"] = map[string][]byte{"a_" + fingerprint: data}
	d.data["current"] = map[string][]byte{"a": []byte(fingerprint)}
	err = open(t, d).Damaged()["a"]
	if want := "berth a: plan " + fingerprint + ": lines[2].mbl_kN: must be over 0"; err == nil || !strings.HasPrefix(err.Error(), want) {
		t.Errorf("error: %v, want %s", err, want)
	}
}

// An older plan that cannot be read for the moment is read when it can be; one that
// is damaged is told apart from it.
func TestOlderPlanIsAskedForAgain(t *testing.T) {
	plan := load(t, "coaster-8")
	d := newDocuments()
	b := open(t, d)
	teal := put(t, b, at(plan, "a", "Teal"), false)
	put(t, b, at(plan, "a", "Avocet"), true)
	d.get = func(string, string) error { return errDisk }
	if _, err := b.PlanByFingerprint(t.Context(), "a", teal.Fingerprint); !errors.Is(err, errDisk) || errors.Is(err, planbook.ErrDamaged) {
		t.Errorf("error: %v", err)
	}
	d.get = nil
	name := "a_" + teal.Fingerprint
	whole := d.data["plans"][name]
	d.data["plans"][name] = whole[:40]
	if _, err := b.PlanByFingerprint(t.Context(), "a", teal.Fingerprint); !errors.Is(err, planbook.ErrDamaged) {
		t.Errorf("error: %v", err)
	}
	d.data["plans"][name] = whole
	if p, err := b.PlanByFingerprint(t.Context(), "a", teal.Fingerprint); err != nil || p.Ship.Name != "Teal" {
		t.Errorf("plan %+v, error %v", p, err)
	}
}
