package planbook_test

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
)

func TestPutAndReplace(t *testing.T) {
	plan := load(t, "coaster-8")
	teal, avocet := at(plan, "town-quay-2", "Teal"), at(plan, "town-quay-2", "Avocet")
	d := newDocuments()
	b := open(t, d)
	if _, ok := b.Current("town-quay-2"); ok || len(b.Berths()) != 0 {
		t.Error("a new book has berths")
	}
	first := put(t, b, teal, false)
	if first.Fingerprint != planfile.Fingerprint(teal) || first.Plan.Ship.Name != "Teal" {
		t.Errorf("entry: %+v", first)
	}
	if want := []string{"plans/town-quay-2_" + first.Fingerprint, "stays/town-quay-2", "versions/town-quay-2", "current/town-quay-2"}; !slices.Equal(d.puts, want) {
		t.Errorf("written %q, want the plan before what names it: %q", d.puts, want)
	}

	again := put(t, b, teal, true)
	if again != first || len(d.puts) != 4 {
		t.Errorf("the same plan again: %+v, written %q", again, d.puts)
	}

	_, err := b.Put(t.Context(), avocet, planbook.Terms{})
	want := fmt.Sprintf("berth is under another plan: berth town-quay-2 is under plan %s of Teal, not %s of Avocet",
		first.Fingerprint, planfile.Fingerprint(avocet))
	if !errors.Is(err, planbook.ErrOtherPlan) || err.Error() != want {
		t.Errorf("error: %v, want %s", err, want)
	}
	under(t, b, "town-quay-2", "Teal")
	if len(d.puts) != 4 {
		t.Errorf("written: %q", d.puts)
	}

	put(t, b, avocet, true)
	under(t, b, "town-quay-2", "Avocet")
	// The ship before has left: what still sends for her is not taken for this one.
	if _, err := b.Put(t.Context(), teal, planbook.Terms{}); !errors.Is(err, planbook.ErrOtherPlan) {
		t.Errorf("the plan of the ship before: %v", err)
	}
	put(t, b, teal, true)
	under(t, b, "town-quay-2", "Teal")
	put(t, b, at(plan, "a", "Teal"), false)
	if got := b.Berths(); !slices.Equal(got, []string{"a", "town-quay-2"}) {
		t.Errorf("berths: %q", got)
	}
}

// A plan that is no plan is refused by its place, before anything is written.
func TestFaultyPlan(t *testing.T) {
	m := load(t, "coaster-8")
	m.Lines[2].MblKn = -5
	d := newDocuments()
	_, err := open(t, d).Put(t.Context(), m, planbook.Terms{Replace: true})
	if err == nil || !strings.HasPrefix(err.Error(), "lines[2].mbl_kN: must be over 0") || len(d.puts) != 0 {
		t.Errorf("error %v, written %q", err, d.puts)
	}
}

// A server keeps 500 berths: the next is refused, those there can go on.
func TestFull(t *testing.T) {
	plan := load(t, "coaster-8")
	d := newDocuments()
	b := open(t, d)
	for n := range 500 {
		put(t, b, at(plan, fmt.Sprintf("berth-%d", n), "Teal"), false)
	}
	if _, err := b.Put(t.Context(), at(plan, "one-more", "Teal"), planbook.Terms{Replace: true}); !errors.Is(err, planbook.ErrFull) {
		t.Errorf("error: %v", err)
	}
	if _, ok := d.data["current"]["one-more"]; ok {
		t.Error("on record all the same")
	}
	put(t, b, at(plan, "berth-7", "Avocet"), true)
	under(t, b, "berth-7", "Avocet")
}

func TestRestartReadsAll(t *testing.T) {
	d := newDocuments()
	b := open(t, d)
	names := []string{"carrier-20", "coaster-8", "tanker-12"}
	var berths []string
	for _, name := range names {
		put(t, b, load(t, name), false)
		berths = append(berths, load(t, name).Berth)
	}
	older := put(t, b, at(load(t, "coaster-8"), "town-quay-2", "Teal"), true)
	put(t, b, load(t, "coaster-8"), true)

	after := open(t, d)
	slices.Sort(berths)
	if got := after.Berths(); !slices.Equal(got, berths) {
		t.Fatalf("berths: %q, want %q", got, berths)
	}
	for _, berth := range berths {
		was, _ := b.Current(berth)
		if is, _ := after.Current(berth); !reflect.DeepEqual(is, was) {
			t.Errorf("berth %s: %+v, want %+v", berth, is, was)
		}
	}
	if p, err := after.PlanByFingerprint(t.Context(), "town-quay-2", older.Fingerprint); err != nil || p.Ship.Name != "Teal" {
		t.Errorf("older plan: %+v, %v", p, err)
	}
}

func TestPlanByFingerprint(t *testing.T) {
	plan := load(t, "coaster-8")
	d := newDocuments()
	b := open(t, d)
	teal := put(t, b, at(plan, "a", "Teal"), false)
	avocet := put(t, b, at(plan, "a", "Avocet"), true)
	elsewhere := put(t, b, at(plan, "b", "Teal"), false)
	d.gets = 0
	for range 3 {
		for _, want := range []planbook.Entry{teal, avocet} {
			p, err := b.PlanByFingerprint(t.Context(), "a", want.Fingerprint)
			if err != nil || !reflect.DeepEqual(p, want.Plan) {
				t.Errorf("plan %s: %+v, %v", want.Fingerprint, p, err)
			}
		}
	}
	if d.gets != 1 {
		t.Errorf("an older plan asked for three times is read %d times", d.gets)
	}
	for _, fingerprint := range []string{elsewhere.Fingerprint, "0000000000000000", ""} {
		_, err := b.PlanByFingerprint(t.Context(), "a", fingerprint)
		if want := "berth a: plan " + fingerprint + " is not on record"; err == nil || err.Error() != want {
			t.Errorf("error: %v, want %s", err, want)
		}
	}
}

// More older plans than the book keeps in memory are still found.
func TestManyOlderPlans(t *testing.T) {
	plan := load(t, "coaster-8")
	b := open(t, newDocuments())
	var fingerprints []string
	for n := range 510 {
		fingerprints = append(fingerprints, put(t, b, at(plan, "a", fmt.Sprintf("Teal %d", n)), true).Fingerprint)
	}
	for _, n := range []int{0, 509, 300, 0} {
		p, err := b.PlanByFingerprint(t.Context(), "a", fingerprints[n])
		if err != nil || p.Ship.Name != fmt.Sprintf("Teal %d", n) {
			t.Errorf("plan %d: %+v, %v", n, p, err)
		}
	}
	for n, f := range fingerprints {
		if p, err := b.PlanByFingerprint(t.Context(), "a", f); err != nil || p.Ship.Name != fmt.Sprintf("Teal %d", n) {
			t.Fatalf("plan %d: %+v, %v", n, p, err)
		}
	}
}

// Each berth is told of once, when it is on record, whoever puts it how often.
func TestNewBerthsAreToldOfOnce(t *testing.T) {
	plan := load(t, "coaster-8")
	d := newDocuments()
	put(t, open(t, d), at(plan, "known", "Teal"), false)
	var mu sync.Mutex
	told := map[string]int{}
	var b *planbook.Book
	b, err := planbook.Open(t.Context(), d, func(berth string) {
		mu.Lock()
		defer mu.Unlock()
		told[berth]++
		if d.data["current"][berth] == nil {
			t.Errorf("berth %s is told of before it is on record", berth)
		}
	})
	must(t, err)
	var all sync.WaitGroup
	for _, ship := range []string{"Teal", "Avocet", "Dunlin"} {
		for _, berth := range []string{"known", "new-1", "new-2"} {
			all.Go(func() {
				for range 5 {
					if _, err := b.Put(t.Context(), at(plan, berth, ship), planbook.Terms{Replace: true}); err != nil {
						t.Error(err)
					}
					if _, ok := b.Current(berth); !ok {
						t.Errorf("berth %s is under no plan", berth)
					}
				}
			})
		}
	}
	all.Wait()
	if want := map[string]int{"new-1": 1, "new-2": 1}; !reflect.DeepEqual(told, want) {
		t.Errorf("told of %v, want %v", told, want)
	}
	after := open(t, d)
	for _, berth := range b.Berths() {
		is, _ := b.Current(berth)
		if got, _ := after.Current(berth); got.Fingerprint != is.Fingerprint {
			t.Errorf("berth %s: on record %s, in memory %s", berth, got.Fingerprint, is.Fingerprint)
		}
	}
}

// Of two who put different plans and do not mean to replace one, one is refused.
func TestConcurrentPutsWithoutReplace(t *testing.T) {
	plan := load(t, "coaster-8")
	b := open(t, newDocuments())
	errs := make([]error, 8)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() { _, errs[i] = b.Put(t.Context(), at(plan, "a", fmt.Sprintf("Teal %d", i)), planbook.Terms{}) })
	}
	all.Wait()
	taken := 0
	for i, err := range errs {
		if err == nil {
			taken++
			under(t, b, "a", fmt.Sprintf("Teal %d", i))
		} else if !errors.Is(err, planbook.ErrOtherPlan) {
			t.Error(err)
		}
	}
	if taken != 1 {
		t.Errorf("%d were taken", taken)
	}
}

// A copy of the plans put on another record is a book that knows the same plans.
func TestCopyAndPaste(t *testing.T) {
	plan := load(t, "coaster-8")
	d := newDocuments()
	b := open(t, d)
	first := put(t, b, at(plan, "town-quay-2", "Teal"), false)
	put(t, b, at(plan, "town-quay-2", "Avocet"), true)
	put(t, b, at(plan, "a", "Teal"), false)
	var copied strings.Builder
	must(t, planbook.Copy(t.Context(), d, &copied))
	into := newDocuments()
	must(t, planbook.Paste(t.Context(), into, strings.NewReader(copied.String())))
	if !reflect.DeepEqual(into.data, d.data) {
		t.Errorf("%v\nwant %v", into.data, d.data)
	}
	again := open(t, into)
	under(t, again, "town-quay-2", "Avocet")
	if p, err := again.PlanByFingerprint(t.Context(), "town-quay-2", first.Fingerprint); err != nil || p.Ship.Name != "Teal" {
		t.Errorf("the plan before: %v, %v", p, err)
	}
	for name, text := range map[string]string{"document 1": "{", "document 2": copied.String()[:strings.Index(copied.String(), "\n")+9]} {
		if err := planbook.Paste(t.Context(), newDocuments(), strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	d.get = func(string, string) error { return errDisk }
	if err := planbook.Copy(t.Context(), d, &copied); !errors.Is(err, errDisk) {
		t.Errorf("%v", err)
	}
	into.put = func(string, string) (bool, error) { return false, errDisk }
	if err := planbook.Paste(t.Context(), into, strings.NewReader(copied.String())); !errors.Is(err, errDisk) {
		t.Errorf("%v", err)
	}
}
