package alarm_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hawser/detect"
	"hawser/ingest/journal"
	"hawser/services/alarm"
)

// stormChild names the folder in which a child process raises the storm.
const stormChild = "HAWSER_TEST_ALARM_STORM"

// storm is how many transitions there are: raises and clears of forty lines in
// turn, one at each journal position.
const storm = 10_000

func stormChange(position uint64) []detect.Change {
	n := int(position - 1)
	return []detect.Change{change(detect.SnapLoad, strconv.Itoa(n/2%40), n%2 == 0, n)}
}

// openStorm opens the alarm log in a folder, on a real journal.
func openStorm(ctx context.Context, dir string) (*alarm.Log, *journal.Journal, error) {
	j, err := journal.Open(ctx, journal.Options{Dir: dir})
	if err != nil {
		return nil, nil, err
	}
	l, err := alarm.Open(ctx, alarm.Options{Records: j, Logger: slog.New(slog.DiscardHandler), Registerer: prometheus.NewRegistry()})
	return l, j, errors.Join(err)
}

// raiseStorm goes on with the storm where the log is, until all of it is in.
func raiseStorm(dir string, out io.Writer) error {
	ctx := context.Background()
	l, _, err := openStorm(ctx, dir)
	if err != nil {
		return err
	}
	for at := l.Applied("east-3") + 1; at <= storm; at++ {
		if err := l.Apply(ctx, "east-3", at, stormChange(at)); err != nil {
			return err
		}
		if at%100 == 0 {
			fmt.Fprintln(out, at)
		}
	}
	return nil
}

// A process that raises a storm of 10,000 transitions is killed again and again,
// wherever it is just then: the log then has each transition once and in order.
func TestKilledInAStormLosesAndDoublesNothing(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	random := rand.New(rand.NewPCG(1, 2))
	kills := 0
	for done := false; !done; {
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), stormChild+"="+dir)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		must(t, err)
		must(t, child.Start())
		// Some way into what it says, and then some.
		for n := random.IntN(20); n >= 0; n-- {
			var at int
			if _, err := fmt.Fscanln(out, &at); err != nil || at == storm {
				done = true
				break
			}
		}
		if !done {
			time.Sleep(time.Duration(random.IntN(3000)) * time.Microsecond) // anywhere between two appends
			must(t, child.Process.Kill())
			kills++
		}
		if err := child.Wait(); done && err != nil {
			t.Fatal(err)
		}
	}
	l, j, err := openStorm(t.Context(), dir)
	must(t, err)
	defer func() { must(t, errors.Join(l.Close(), j.Close())) }()
	at := uint64(0)
	for _, r := range collect(t, l) {
		if at++; r.Journal != at || (r.Transition == alarm.Raised) != (at%2 == 1) || r.Line != strconv.Itoa(int(at-1)/2%40) {
			t.Fatalf("record %d: transition %d of line %s at journal position %d", at, r.Transition, r.Line, r.Journal)
		}
	}
	if at != storm || kills < 5 {
		t.Errorf("%d transitions after %d kills, want %d after some", at, kills, storm)
	}
	t.Logf("%d kills", kills)
}
