//go:build unix

package journal_test

import (
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// A limit on the size of a file stands in for a full disk: write fails the same
// way, half-way through.
func TestFullDiskIsToldNotHung(t *testing.T) {
	p, _ := inside(t)
	c := startChild(t, "append-limited "+p.o.Dir)
	told, line := 0, c.line()
	for n, err := strconv.Atoi(line); err == nil; n, err = strconv.Atoi(line) {
		told, line = n, c.line()
	}
	// 2 MB of entries of 4 KB.
	if told < 300 || told > 500 {
		t.Errorf("%d entries fitted", told)
	}
	if !strings.HasPrefix(line, "wait: journal: storage") {
		t.Errorf("child said %q", line)
	}
	if line := c.line(); !strings.Contains(line, "journal: storage") {
		t.Errorf("child said %q", line)
	}
	c.cmd.Wait()
	j := p.open()
	if last, err := j.LastSequence(t.Context(), "jetty-1", "gw"); err != nil || int(last) < told {
		t.Errorf("last sequence %d, %v; %d were told", last, err, told)
	}
	appendMany(t, j, "jetty-1", 1, uint64(told)+5)
}

// A journal on a disk that is full opens, so that what it has is read and a watch kept.
func TestOpensOnAFullDisk(t *testing.T) {
	p, _ := inside(t)
	j := p.open()
	appendMany(t, j, "jetty-1", 1, 5)
	must(t, j.Put(t.Context(), "plans", "jetty-1", []byte("the plan")))
	closeJournal(t, j)
	c := startChild(t, "open-full "+p.o.Dir)
	if line := c.line(); line != "5 the plan" {
		t.Errorf("found %q", line)
	}
	if line := c.line(); !strings.HasPrefix(line, "journal: storage") {
		t.Errorf("an entry more: %q", line)
	}
	c.cmd.Wait()
	j = p.open()
	if r := j.Recovery(); r.Damaged() {
		t.Errorf("recovery %+v", r)
	}
	appendMany(t, j, "jetty-1", 1, 8)
}

// limitFiles lets no file of this process grow past a size, bytes.
func limitFiles(size uint64) error {
	signal.Ignore(syscall.SIGXFSZ)
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: size})
}
