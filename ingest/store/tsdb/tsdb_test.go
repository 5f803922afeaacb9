package tsdb_test

import (
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"

	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		childMain(dir)
		return
	}
	goleak.VerifyTestMain(m)
}

// clock is a day after the first reading, whatever the machine's says.
func clock() time.Time { return storetest.Start.Add(24 * time.Hour) }

func open(t *testing.T, o tsdb.Options) *tsdb.Store {
	t.Helper()
	if o.Dir == "" {
		o.Dir = t.TempDir()
	}
	if o.Now == nil {
		o.Now = clock
	}
	s, err := tsdb.Open(o)
	must(t, err)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func TestSuite(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Rolling { return open(t, tsdb.Options{}) })
}
