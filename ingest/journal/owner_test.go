package journal_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"hawser/ingest/journal"
	"hawser/services/waittest"
)

// owned is a place's options as an owner has them, in quick time.
func (p *place) owned(name string) journal.Options {
	o := p.o
	o.Owner, o.OwnerName = name, "the process of "+name
	quick(&o)
	return o
}

func quick(o *journal.Options) {
	o.OwnerTimes(100*time.Millisecond, 2*time.Second, 3*time.Second)
}

// runOwner owns the journal at a URL and appends records until it may not or is
// killed, and says why it may not.
func runOwner(arg string) {
	name, at, _ := strings.Cut(arg, " ")
	o := journal.Options{URL: at, Owner: name, OwnerName: "the process of " + name}
	quick(&o)
	j, err := journal.Open(context.Background(), o)
	check(err)
	os.Stdout.WriteString("owned\n")
	for err == nil {
		_, err = j.AppendRecord(context.Background(), "alarms", []byte(name))
	}
	<-j.Failed()
	os.Stdout.WriteString(j.Err().Error() + "\n")
}

func refused(t *testing.T, o journal.Options, by string) {
	t.Helper()
	j, err := journal.Open(t.Context(), o)
	if err == nil {
		closeJournal(t, j)
	}
	var held *journal.HeldError
	if !errors.As(err, &held) || held.By != "the process of "+by {
		t.Fatalf("opening what %s owns: %v", by, err)
	}
}

// logged has a journal log to the text it returns.
func logged(o *journal.Options) *waittest.Buffer {
	out := &waittest.Buffer{}
	o.Log = slog.New(slog.NewTextHandler(out, nil))
	return out
}

func says(out *waittest.Buffer, text string) bool { return strings.Contains(out.String(), text) }

// While one lives every other is refused; when it is closed the next one has not to
// wait. Who wants to own nothing comes in at any time.
func TestOneOwner(t *testing.T) {
	p := outside(t)
	a := open(t, p.owned("a"))
	refused(t, p.owned("b"), "a")
	p.open()
	appendMany(t, a, "jetty-1", 1, 3)
	refused(t, p.owned("b"), "a")
	closeJournal(t, a)
	o := p.owned("b")
	told := logged(&o)
	b := open(t, o)
	if says(told, "waiting") {
		t.Error("the next one waited after a close in order")
	}
	appendMany(t, b, "jetty-1", 4, 5)
	refused(t, p.owned("a"), "b")
}

// One that was killed is followed by itself at once, and by another once its word has
// stood for long enough.
func TestOwnerIsKilled(t *testing.T) {
	p := outside(t)
	own := func(name string) *child {
		c := startChild(t, "own "+name+" "+p.o.URL)
		if said := c.line(); said != "owned" {
			t.Fatalf("the child says %q", said)
		}
		return c
	}
	own("a").kill()
	o := p.owned("a")
	told := logged(&o)
	closeJournal(t, open(t, o))
	if says(told, "waiting") {
		t.Error("it waited for itself")
	}
	own("a").kill()
	o = p.owned("b")
	told = logged(&o)
	open(t, o)
	if !says(told, "waiting") {
		t.Error("another did not wait whether the killed one lived")
	}
}

// Of many that wait for one that was killed, one follows it.
func TestOneOfManyFollows(t *testing.T) {
	p := outside(t)
	c := startChild(t, "own first "+p.o.URL)
	c.line()
	c.kill()
	var wg sync.WaitGroup
	opened := make(chan *journal.Journal, 8)
	for _, name := range strings.Split("abcdefgh", "") {
		wg.Go(func() {
			j, err := journal.Open(t.Context(), p.owned(name))
			var held *journal.HeldError
			switch {
			case err == nil:
				opened <- j
			case !errors.As(err, &held):
				t.Error(err)
			}
		})
	}
	wg.Wait()
	close(opened)
	n := 0
	for j := range opened {
		n++
		closeJournal(t, j)
	}
	if n != 1 {
		t.Errorf("%d own the journal", n)
	}
}

// link is a connection with a server that can be cut.
type link struct {
	at, to string
	mu     sync.Mutex
	is     bool // cut
	conns  map[net.Conn]bool
	wg     sync.WaitGroup
}

func newLink(t *testing.T, to string) *link {
	t.Helper()
	u, err := url.Parse(to)
	must(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	k := &link{at: "nats://" + l.Addr().String(), to: u.Host, conns: map[net.Conn]bool{}}
	k.wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			k.wg.Go(func() { k.carry(c) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		k.cut()
		k.wg.Wait()
	})
	return k
}

// carry carries one connection until an end of it is closed.
func (k *link) carry(c net.Conn) {
	defer c.Close()
	s, err := net.Dial("tcp", k.to)
	if err != nil {
		return
	}
	defer s.Close()
	k.mu.Lock()
	if k.is {
		k.mu.Unlock()
		return
	}
	k.conns[c], k.conns[s] = true, true
	k.mu.Unlock()
	k.wg.Go(func() {
		io.Copy(s, c)
		s.Close()
	})
	io.Copy(c, s)
	k.mu.Lock()
	delete(k.conns, c)
	delete(k.conns, s)
	k.mu.Unlock()
}

func (k *link) cut() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.is = true
	for c := range k.conns {
		c.Close()
	}
}

func (k *link) mend() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.is = false
}

// records is what a log holds.
func records(t *testing.T, j *journal.Journal, log string) (all []string) {
	t.Helper()
	must(t, j.ReadRecords(t.Context(), log, 0, func(_ uint64, data []byte) error {
		all = append(all, string(data))
		return nil
	}))
	return all
}

// An owner that is cut off from its server appends nothing more by the time another
// has followed it, and when it is back it has failed. One whose link is back before
// goes on as if nothing had been.
func TestOwnerIsCutOff(t *testing.T) {
	p := outside(t)
	k := newLink(t, p.o.URL)
	o := p.owned("a")
	o.URL = k.at
	told := logged(&o)
	a := open(t, o)
	must(t, record(t, a, "alarms", "a 1"))
	k.cut()
	waittest.True(t, "what is cut off to be told", func() bool { return says(told, "may be another's by now") })
	if err := record(t, a, "alarms", "a, cut off"); !errors.Is(err, journal.ErrUnavailable) {
		t.Errorf("append when cut off: %v", err)
	}
	k.mend()
	waittest.True(t, "the owner to go on", func() bool { return record(t, a, "alarms", "a 2") == nil })
	must(t, a.Err())

	k.cut()
	b := open(t, p.owned("b"))
	must(t, record(t, b, "alarms", "b 1"))
	k.mend()
	waittest.True(t, "the one that was followed to fail", func() bool {
		if err := record(t, a, "alarms", "a, followed by b"); err == nil {
			t.Fatal("two append to the alarms")
		}
		return a.Err() != nil
	})
	if err := a.Err(); !errors.Is(err, journal.ErrStorage) || !strings.Contains(err.Error(), "the process of b") {
		t.Errorf("it fails with %v", err)
	}
	<-a.Failed()
	if got := strings.Join(records(t, b, "alarms"), ", "); got != "a 1, a 2, b 1" {
		t.Errorf("on record: %s", got)
	}
}

// A server that is killed and back, or back without any word, changes no owner.
func TestOwnerOverItsServersEnd(t *testing.T) {
	p := outside(t)
	a := open(t, p.owned("a"))
	p.restartServer()
	waittest.Until(t, "the owner to go on", func() error { return record(t, a, "alarms", "a 1") })
	refused(t, p.owned("b"), "a")

	nc, err := nats.Connect(p.o.URL)
	must(t, err)
	defer nc.Close()
	js, err := nc.JetStream()
	must(t, err)
	must(t, js.PurgeStream("hawser-documents"))
	waittest.True(t, "the word to be said again", func() bool {
		_, err := js.GetLastMsg("hawser-documents", "hawser.document.owner.journal")
		return err == nil
	})
	refused(t, p.owned("b"), "a")
	must(t, record(t, a, "alarms", "a 2"))
}

// A record of an owner that did not know of another's before it is refused by the
// server; the next one, after what is there was looked up, is not.
func TestRecordsOfAnOwnerAreFenced(t *testing.T) {
	p := outside(t)
	a, other := open(t, p.owned("a")), p.open()
	must(t, record(t, a, "alarms", "a 1"))
	must(t, record(t, a, "lines", "a 1")) // each log for itself
	must(t, record(t, a, "alarms", "a 2"))
	must(t, record(t, other, "alarms", "other"))
	if err := record(t, a, "alarms", "a 3"); err == nil || !strings.Contains(err.Error(), "another writer's entry is newer") {
		t.Errorf("after another's record: %v", err)
	}
	must(t, record(t, a, "lines", "a 2"))
	must(t, record(t, a, "alarms", "a 4"))
	if got := strings.Join(records(t, a, "alarms"), ", "); got != "a 1, a 2, other, a 4" {
		t.Errorf("on record: %s", got)
	}
}
