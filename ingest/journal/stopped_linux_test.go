package journal_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"hawser/ingest/journal"
	"hawser/services/waittest"
)

func TestServerThatDoesNotAnswer(t *testing.T) {
	p := outside(t)
	p.o.AckTimeout(50 * time.Millisecond)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 1)
	p.proc.stop()
	if _, err := mustAppend(t, j, entry("jetty-1", "gw", 2)).Wait(t.Context()); !errors.Is(err, journal.ErrUnavailable) {
		t.Errorf("wait: %v", err)
	}
	if _, err := j.Append(t.Context(), entry("jetty-1", "gw", 3)); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("the next one: %v, want it refused: 2 may be missing", err)
	}
	p.proc.resume()
	// The second may come to the server still, even after LastSequence has said
	// 1: then the server refuses it the second time, and the source asks again.
	waittest.True(t, "3 stored", func() bool {
		n, err := j.LastSequence(t.Context(), "jetty-1", "gw")
		for seq := n + 1; err == nil && seq <= 3; seq++ {
			var w *journal.Pending
			if w, err = j.Append(t.Context(), entry("jetty-1", "gw", seq)); err == nil {
				_, err = w.Wait(t.Context())
			}
		}
		return err == nil
	})
	inOrder(t, j, 3)
}

func TestCloseWithServerThatDoesNotAnswer(t *testing.T) {
	p := outside(t)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 200)
	collect(t, j, journal.FollowOptions{}, 100)
	ended := make(chan error, 1)
	begun := make(chan bool, 200)
	go func() {
		ended <- j.Follow(t.Context(), journal.FollowOptions{After: 190}, func(*journal.Entry) error { begun <- true; return nil })
	}()
	<-begun
	p.proc.stop()
	w := mustAppend(t, j, entry("jetty-1", "gw", 201))
	began := time.Now()
	closeJournal(t, j)
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("close took %v", took)
	}
	if _, err := w.Wait(t.Context()); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("an entry without an answer: %v", err)
	}
	if err := <-ended; !errors.Is(err, journal.ErrClosed) {
		t.Errorf("follow: %v", err)
	}
}

// stop is SIGSTOP, and returns when every thread has stopped.
func (c *child) stop() {
	c.t.Helper()
	c.cmd.Process.Signal(syscall.SIGSTOP)
	waittest.True(c.t, "the child stopped", func() bool {
		threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", c.cmd.Process.Pid))
		for _, name := range threads {
			stat, err := os.ReadFile(name)
			// pid (name) state …, proc(5); T is stopped.
			if _, state, ok := strings.Cut(string(stat), ") "); err != nil || !ok || state[0] != 'T' {
				return false
			}
		}
		return err == nil && len(threads) > 0
	})
}

func (c *child) resume() { c.cmd.Process.Signal(syscall.SIGCONT) }

// An owner whose process stands still, as a machine that sleeps does, while another
// follows it: when it goes on, what it had begun to send is refused too.
func TestOwnerStandsStill(t *testing.T) {
	p := outside(t)
	c := startChild(t, "own a "+p.o.URL)
	c.line()
	c.stop()
	b := open(t, p.owned("b"))
	must(t, record(t, b, "alarms", "b"))
	c.resume()
	if why := c.line(); !strings.Contains(why, "the process of b") {
		t.Errorf("it ends with %q", why)
	}
	if all := records(t, b, "alarms"); all[len(all)-1] != "b" {
		t.Errorf("%d records after another had followed", len(all)-1-slices.Index(all, "b"))
	}
}
