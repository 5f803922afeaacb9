package watch_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/ingest/batch"
	"hawser/services/alarm/alarmtest"
	"hawser/services/watch"
)

// quiet is a journal in which nothing comes, that notes who follows it.
type quiet struct {
	mu      sync.Mutex
	berths  []string
	present int
	asked   int // for the end: the first thing a berth's watch does
}

func (q *quiet) FollowBerth(ctx context.Context, berth string, _ uint64, _ func(*batch.Entry) error) error {
	q.mu.Lock()
	q.berths = append(q.berths, berth)
	q.present++
	q.mu.Unlock()
	<-ctx.Done()
	q.mu.Lock()
	q.present--
	q.mu.Unlock()
	return ctx.Err()
}

func (q *quiet) Last(ctx context.Context) (uint64, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.asked++
	return 0, ctx.Err()
}

func (q *quiet) SaveSnapshot(context.Context, string, []byte) error         { return nil }
func (q *quiet) LoadSnapshot(context.Context, string) ([]byte, bool, error) { return nil, false, nil }

func (q *quiet) followed() []string {
	q.mu.Lock()
	defer q.mu.Unlock()
	return slices.Sorted(slices.Values(q.berths))
}

func options(t *testing.T, j watch.Journal) watch.Options {
	t.Helper()
	l := openLog(t, &alarmtest.Records{})
	t.Cleanup(func() { l.Close() })
	return watch.Options{Journal: j, Plans: plans{}, Alarms: l, Picture: &picture{},
		Log: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()}
}

func TestAddBeforeDuringAndAfterRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := &quiet{}
		w, err := watch.New(options(t, q))
		if err != nil {
			t.Fatal(err)
		}
		w.Add("a")
		w.Add("b")
		w.Add("a")
		synctest.Wait()
		if got := q.followed(); got != nil {
			t.Errorf("followed before Run: %q", got)
		}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- w.Run(ctx) }()
		synctest.Wait()
		w.Add("c")
		w.Add("b")
		synctest.Wait()
		if got := q.followed(); !slices.Equal(got, []string{"a", "b", "c"}) {
			t.Errorf("followed: %q", got)
		}
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if q.present != 0 {
			t.Errorf("%d still follow after Run", q.present)
		}
		w.Add("d")
		synctest.Wait()
		if q.asked != 3 {
			t.Errorf("%d berths were begun with, want 3", q.asked)
		}
	})
}

// Berths come while the watch is being stopped: whichever got in is waited for.
func TestAddWhileStopping(t *testing.T) {
	q := &quiet{}
	w, err := watch.New(options(t, q))
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	var adders sync.WaitGroup
	for a := range 4 {
		adders.Go(func() {
			for n := range 100 {
				w.Add(fmt.Sprintf("berth-%d-%d", a, n))
				if a == 0 && n == 50 {
					stop()
				}
			}
		})
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	q.mu.Lock()
	if q.present != 0 {
		t.Errorf("%d still follow after Run", q.present)
	}
	q.mu.Unlock()
	adders.Wait()
}

func TestRequiredOptions(t *testing.T) {
	for name, take := range map[string]func(o *watch.Options){
		"journal":    func(o *watch.Options) { o.Journal = nil },
		"plans":      func(o *watch.Options) { o.Plans = nil },
		"alarms":     func(o *watch.Options) { o.Alarms = nil },
		"picture":    func(o *watch.Options) { o.Picture = nil },
		"log":        func(o *watch.Options) { o.Log = nil },
		"registerer": func(o *watch.Options) { o.Registerer = nil },
	} {
		o := options(t, &quiet{})
		take(&o)
		if _, err := watch.New(o); err == nil || !strings.Contains(strings.ToLower(err.Error()), name) {
			t.Errorf("without %s: %v", name, err)
		}
	}
}
