package journal_test

import (
	"bufio"
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"go.uber.org/goleak"

	"hawser/ingest/journal"
)

// The test binary runs itself again as one of these.
const roleEnv = "HAWSER_JOURNAL_TEST_ROLE"

func TestMain(m *testing.M) {
	role, arg, _ := strings.Cut(os.Getenv(roleEnv), " ")
	switch role {
	case "":
		goleak.VerifyTestMain(m)
	case "server":
		runServer(arg, 8<<20)
	case "small-server":
		runServer(arg, 1<<20)
	case "own":
		runOwner(arg)
	case "append":
		runAppender(arg, false)
	case "append-limited":
		runAppender(arg, true)
	case "open-full":
		runOpener(arg)
	default:
		panic("role " + role)
	}
}

// runServer is a server outside, on a loopback port, until killed. arg is the
// folder and the port, 0 for any.
func runServer(arg string, maxPayload int32) {
	dir, port, _ := strings.Cut(arg, " ")
	n, err := strconv.Atoi(port)
	check(err)
	if n == 0 {
		n = -1
	}
	ns, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: n, NoLog: true, JetStream: true, StoreDir: dir, MaxPayload: maxPayload})
	check(err)
	ns.Start()
	if !ns.ReadyForConnections(10 * time.Second) {
		panic("server not ready")
	}
	fmt.Println(ns.ClientURL())
	ns.WaitForShutdown()
}

// runAppender appends until killed, printing each sequence once its Wait
// returned, or until Append fails, and prints the errors. Limited, no file may
// grow past 2 MB, which is as near to a full disk as a test gets without one.
func runAppender(dir string, limited bool) {
	o := journal.Options{Dir: dir}
	o.AckTimeout(time.Hour) // who is told of a failure is told by it, not by the clock
	j, err := journal.Open(context.Background(), o)
	check(err)
	if limited {
		check(limitFiles(2e6))
	}
	ways := make(chan *journal.Pending, 64)
	var refused error
	go func() {
		defer close(ways)
		data := make([]byte, 4096)
		rand.Read(data)
		for seq := uint64(1); refused == nil; seq++ {
			var p *journal.Pending
			if p, refused = j.Append(context.Background(), &journal.Entry{Berth: "jetty-1", Source: "gw", SourceSequence: seq, Data: data}); refused == nil {
				ways <- p
			}
		}
	}()
	told, failed := 0, error(nil)
	for p := range ways {
		if _, err := p.Wait(context.Background()); err != nil {
			failed = err
		} else if failed == nil {
			told++
			fmt.Println(told)
		}
	}
	fmt.Println("wait:", failed)
	fmt.Println("append:", refused)
	j.Close()
}

// runOpener opens a journal whose disk takes no more than its mark, a line, and prints
// what it finds and what becomes of one entry more.
func runOpener(dir string) {
	check(limitFiles(128))
	j, err := journal.Open(context.Background(), journal.Options{Dir: dir})
	check(err)
	last, err := j.LastSequence(context.Background(), "jetty-1", "gw")
	check(err)
	document, _, err := j.Get(context.Background(), "plans", "jetty-1")
	check(err)
	fmt.Println(last, string(document))
	p, err := j.Append(context.Background(), &journal.Entry{Berth: "jetty-1", Source: "gw", SourceSequence: last + 1, Data: make([]byte, 4096)})
	if err == nil {
		_, err = p.Wait(context.Background())
	}
	fmt.Println(err)
	j.Close()
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}

// child is the test binary in another role.
type child struct {
	t     *testing.T
	cmd   *exec.Cmd
	lines *bufio.Scanner
}

func startChild(t *testing.T, role string) *child {
	t.Helper()
	exe, err := os.Executable()
	must(t, err)
	c := &child{t: t, cmd: exec.Command(exe)}
	c.cmd.Env = append(os.Environ(), roleEnv+"="+role)
	c.cmd.Stderr = os.Stderr
	out, err := c.cmd.StdoutPipe()
	must(t, err)
	must(t, c.cmd.Start())
	c.lines = bufio.NewScanner(out)
	t.Cleanup(c.kill)
	return c
}

func (c *child) line() string {
	c.t.Helper()
	if !c.lines.Scan() {
		c.t.Fatalf("child ended: %v", c.lines.Err())
	}
	return c.lines.Text()
}

// kill is kill -9.
func (c *child) kill() {
	if c.cmd.ProcessState == nil {
		c.cmd.Process.Kill()
		c.cmd.Wait()
	}
}
