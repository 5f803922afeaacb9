package tsdb_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"hawser/ingest/store/storetest"
	"hawser/ingest/store/tsdb"
)

// childDir and childFrom are environment variables that make the test program a
// writer: the folder, and the second from which it writes.
const (
	childDir  = "HAWSER_TEST_STORE_DIR"
	childFrom = "HAWSER_TEST_STORE_FROM"
)

const killSeed, killLines = 5, 4

// childMain appends seconds without end and says after each that it is stored.
func childMain(dir string) {
	from, err := strconv.Atoi(os.Getenv(childFrom))
	if err != nil {
		panic(err)
	}
	s, err := tsdb.Open(tsdb.Options{Dir: dir, Now: clock, Settle: time.Millisecond})
	if err != nil {
		panic(err)
	}
	source := storetest.NewSource(killLines, killSeed)
	for second := 0; ; second++ {
		b := source.Next()
		if second < from {
			continue
		}
		if err := s.Append(context.Background(), "jetty-1", b); err != nil {
			panic(err)
		}
		fmt.Println(second)
	}
}

// A process killed at any moment, while it rolls up too, leaves a store with all that
// it said is stored, and whose points are those of its readings.
// Its follow-up goes back a little, as one that saves its position now and then
// does, and each reading is there once.
func TestKilled(t *testing.T) {
	dir := t.TempDir()
	stored := -1
	for round := range 3 {
		from := max(0, stored-20)
		stored = killAfter(t, dir, from, from+150+37*round)

		s, err := tsdb.Open(tsdb.Options{Dir: dir, Now: clock, Settle: time.Millisecond})
		must(t, err)
		if r := s.Recovery(); len(r.Damage) > 0 {
			t.Errorf("round %d: a kill damaged the store: %+v", round, r)
		}
		// One more may be there than was said. Sending it again makes the check exact
		// and is what happens in service.
		var sent storetest.Ledger
		source := storetest.NewSource(killLines, killSeed)
		for second := range stored + 2 {
			b := source.Next()
			sent.Note("jetty-1", b)
			if second > stored {
				if err := s.Append(t.Context(), "jetty-1", b); err != nil {
					t.Error(err)
				}
			}
		}
		sent.Check(t, s)
		sent.CheckSteps(t, s, storetest.Start, storetest.Start.Add(time.Hour), time.Second, time.Minute)
		must(t, s.Close())
	}
}

// killAfter runs the writer until it has said that a second is stored, kills it,
// and gives the last it said.
func killAfter(t *testing.T, dir string, from, until int) int {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childDir+"="+dir, childFrom+"="+strconv.Itoa(from))
	child.Stderr = t.Output()
	out, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	last := -1
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if last, err = strconv.Atoi(lines.Text()); err != nil {
			t.Errorf("the writer said %q", lines.Text())
		}
		if last == until {
			if err := child.Process.Kill(); err != nil {
				t.Error(err)
			}
		}
	}
	_ = child.Wait() // it always tells of the kill
	if last < until {
		t.Fatalf("the writer ended at %d, before %d", last, until)
	}
	return last
}
