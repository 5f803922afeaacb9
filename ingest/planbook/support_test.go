package planbook_test

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"sort"
	"sync"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"

	"hawser/ingest/planbook"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var errDisk = errors.New("no space left on device")

// documents are Documents in memory, with the faults of real ones.
type documents struct {
	mu   sync.Mutex
	data map[string]map[string][]byte
	puts []string // bucket/key, in order
	gets int
	// put decides about a write: kept says whether it is there afterwards, err what
	// the caller is told. nil takes all.
	put func(bucket, key string) (kept bool, err error)
	get func(bucket, key string) error // nil answers
	key func() error                   // of Keys; nil answers
}

func newDocuments() *documents { return &documents{data: map[string]map[string][]byte{}} }

func (d *documents) Put(_ context.Context, bucket, key string, data []byte) error {
	for range 50 {
		runtime.Gosched() // a disk takes its time: whoever else is there comes in between
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	kept, err := true, error(nil)
	if d.put != nil {
		kept, err = d.put(bucket, key)
	}
	d.puts = append(d.puts, bucket+"/"+key)
	if kept {
		if d.data[bucket] == nil {
			d.data[bucket] = map[string][]byte{}
		}
		d.data[bucket][key] = slices.Clone(data)
	}
	return err
}

func (d *documents) Get(_ context.Context, bucket, key string) ([]byte, bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.gets++
	if d.get != nil {
		if err := d.get(bucket, key); err != nil {
			return nil, false, err
		}
	}
	data, ok := d.data[bucket][key]
	return slices.Clone(data), ok, nil
}

func (d *documents) Keys(_ context.Context, bucket string) ([]string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.key != nil {
		if err := d.key(); err != nil {
			return nil, err
		}
	}
	var out []string
	for key := range d.data[bucket] {
		out = append(out, key)
	}
	sort.Strings(out)
	return out, nil
}

func open(t *testing.T, d *documents) *planbook.Book {
	t.Helper()
	b, err := planbook.Open(t.Context(), d, nil)
	must(t, err)
	return b
}

func load(t *testing.T, name string) *hawserv1.MooringPlan {
	t.Helper()
	_, m, err := planfile.Load("../../testdata/plans/" + name + ".yaml")
	must(t, err)
	return m
}

// at is the plan at another berth, under another ship's name.
func at(m *hawserv1.MooringPlan, berth, ship string) *hawserv1.MooringPlan {
	out := proto.CloneOf(m)
	out.Berth, out.Ship.Name = berth, ship
	return out
}

func put(t *testing.T, b *planbook.Book, m *hawserv1.MooringPlan, replace bool) planbook.Entry {
	t.Helper()
	e, err := b.Put(t.Context(), m, planbook.Terms{Replace: replace})
	must(t, err)
	return e
}

// under checks which ship's plan a berth is under.
func under(t *testing.T, b *planbook.Book, berth, ship string) {
	t.Helper()
	e, ok := b.Current(berth)
	if !ok || e.Plan.Ship.Name != ship {
		t.Errorf("berth %s is under %+v, want %s", berth, e.Plan, ship)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
