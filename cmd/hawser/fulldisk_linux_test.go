package main

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"golang.org/x/sys/unix"

	"hawser/services/waittest"
)

// full has every write of the server to a file refused, as a full disk does, or
// ends that.
func (s *server) full(yes bool) {
	s.t.Helper()
	l := unix.Rlimit{Cur: math.MaxUint64, Max: math.MaxUint64}
	if yes {
		l.Cur = 0
	}
	if err := unix.Prlimit(s.cmd.Process.Pid, unix.RLIMIT_FSIZE, &l, nil); err != nil {
		s.t.Fatal(err)
	}
}

// The disk fills while a line slips and another parts, and is emptied later: all is
// told as it happens, that nothing is recorded too, nothing that was sent is
// receipted meanwhile, and in the end every reading and every alarm is there, once.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 31, nil)
	slip := slices.IndexFunc(r.told, func(c told) bool { return c.Condition == "brake-slip" })
	parted := slices.IndexFunc(r.told, func(c told) bool { return c.Condition == "line-parted" })
	data := t.TempDir()
	s := startServe(t, data, "--plan", planFile("tanker-12"))
	sent := startHawser(t, "send", "--plan", planFile("tanker-12"), "--to", s.grpc, "--pace", "20", r.path)
	s.watched(r.berth, 20)
	s.full(true)
	s.tells("not-recorded", "active")
	waittest.Until(t, "the slip and the parting to be told", func() error {
		if got := s.onRecord(); len(got) <= max(slip, parted) {
			return fmt.Errorf("told is %+v", got)
		}
		return nil
	})
	kept := s.metric("hawser_journal_appended_batches_total")
	if unkept := s.metric("hawser_journal_unkept_batches_total"); kept+unkept < float64(r.batches)/2 {
		t.Errorf("story: %g batches were kept and %g not, of %d", kept, unkept, r.batches)
	}
	s.full(false)
	s.tells("not-recorded", "cleared")
	sent()
	s.hasAll(r)
	if _, err := s.stop(); err != nil {
		t.Fatal(err)
	}
	s = startServe(t, data)
	compareTold(t, s.onRecord(), r.told)
	s.tells("not-recorded", "cleared")
	s.stored(r.berth, r.sums)
}
