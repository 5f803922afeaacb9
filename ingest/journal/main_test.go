package journal_test

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
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
		runServer(arg)
	case "append":
		runAppender(arg, false)
	case "append-limited":
		runAppender(arg, true)
	default:
		panic("role " + role)
	}
}

// runServer is a server outside, on a loopback port, until killed. arg: folder
// and port, 0 for any.
func runServer(arg string) {
	dir, port, _ := strings.Cut(arg, " ")
	n, err := strconv.Atoi(port)
	check(err)
	if n == 0 {
		n = -1
	}
	ns, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: n, NoLog: true, JetStream: true, StoreDir: dir, MaxPayload: 9 << 20})
	check(err)
	ns.Start()
	if !ns.ReadyForConnections(10 * time.Second) {
		panic("server not ready")
	}
	fmt.Println(ns.ClientURL())
	ns.WaitForShutdown()
}

// runAppender appends until killed, printing each sequence once its Wait
// returned, and ends at the first error, which it prints. Limited, no file may
// grow past 2 MB, which is as near to a full disk as a test gets without one.
func runAppender(dir string, limited bool) {
	j, err := journal.Open(context.Background(), journal.Options{Dir: dir})
	check(err)
	if limited {
		signal.Ignore(syscall.SIGXFSZ)
		check(syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 2e6, Max: 2e6}))
	}
	ways := make(chan *journal.Pending, 64)
	go func() {
		data := make([]byte, 4096)
		rand.Read(data)
		for seq := uint64(1); ; seq++ {
			p, err := j.Append(context.Background(), &journal.Entry{Berth: "jetty-1", Source: "gw", SourceSequence: seq, Data: data})
			if err != nil {
				fmt.Println("error", err, errors.Is(err, journal.ErrStorage))
				return
			}
			ways <- p
		}
	}()
	seq := 0
	for p := range ways {
		if _, err := p.Wait(context.Background()); err != nil {
			fmt.Println("error", err, errors.Is(err, journal.ErrStorage))
			_, err := j.Append(context.Background(), &journal.Entry{Berth: "jetty-2", Source: "gw", SourceSequence: 1})
			fmt.Println("then", err, errors.Is(err, journal.ErrStorage))
			j.Close()
			return
		}
		seq++
		fmt.Println(seq)
	}
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
	if err != nil {
		t.Fatal(err)
	}
	c := &child{t: t, cmd: exec.Command(exe)}
	c.cmd.Env = append(os.Environ(), roleEnv+"="+role)
	c.cmd.Stderr = os.Stderr
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
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
