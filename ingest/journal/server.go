package journal

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"github.com/nats-io/nats-server/v2/server"
)

// startServer starts the server inside the process. It listens on no port.
func startServer(dir string, log *serverLog) (*server.Server, error) {
	ns, err := server.NewServer(&server.Options{
		ServerName:             "hawser",
		DontListen:             true,
		NoSigs:                 true,
		DisableJetStreamBanner: true,
		JetStream:              true,
		StoreDir:               dir,
		JetStreamMaxStore:      1 << 50, // the streams' own limits count
		MaxPayload:             maxPayload,
		// Our own syncs carry the promise; this one is for index files and for
		// blocks the server rewrites by itself.
		SyncInterval: 10 * time.Second,
	})
	if err != nil {
		return nil, fmt.Errorf("%w: server: %w", ErrStorage, err)
	}
	ns.SetLoggerV2(log, false, false, false)
	ns.Start()
	if !ns.ReadyForConnections(30*time.Second) || !ns.JetStreamEnabled() {
		ns.Shutdown()
		ns.WaitForShutdown()
		return nil, fmt.Errorf("%w: server did not start: %s", ErrStorage, log.lastError())
	}
	return ns, nil
}

// lockDir keeps a second process out of the folder.
func lockDir(dir string) (*flock.Flock, error) {
	l := flock.New(filepath.Join(dir, "journal.lock"), flock.SetFlag(os.O_CREATE|os.O_RDWR), flock.SetPermissions(0o644))
	got, err := l.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock of folder %s: %w", dir, err)
	}
	if !got {
		return nil, fmt.Errorf("folder %s is open in another process", dir)
	}
	return l, nil
}

// serverLog passes the server's log on. Some things the server tells nowhere
// else: damage it found while opening, and that it could not write, after which
// it leaves messages without an answer.
type serverLog struct {
	log *slog.Logger

	mu      sync.Mutex
	keeping bool
	kept    []string
	err     string
	fault   func(error) // told of failed writes; nil before the journal can be
}

// writeFaults are the server's words for a failed write, anywhere in its error.
// Should they change, messages still time out (and the full-disk test fails).
var writeFaults = [...]string{"Critical write error", "failed to store a msg", "JetStream out of", "permission denied while writing"}

const maxWarnings = 32

func (l *serverLog) note(bad bool, text string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if bad {
		l.err = text
	}
	if l.keeping && len(l.kept) < maxWarnings {
		l.kept = append(l.kept, text)
	}
}

// tell sets who is told of failed writes.
func (l *serverLog) tell(fault func(error)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fault = fault
}

// warnings returns what was kept and stops keeping.
func (l *serverLog) warnings() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.keeping = false
	return l.kept
}

func (l *serverLog) lastError() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.err == "" {
		return "it gave no reason"
	}
	return l.err
}

// The methods of server.Logger.

func (l *serverLog) Noticef(format string, v ...any) { l.log.Debug(fmt.Sprintf(format, v...)) }
func (l *serverLog) Debugf(string, ...any)           {}
func (l *serverLog) Tracef(string, ...any)           {}

func (l *serverLog) Warnf(format string, v ...any) {
	text := fmt.Sprintf(format, v...)
	l.note(false, text)
	l.log.Warn(text)
}

func (l *serverLog) Errorf(format string, v ...any) {
	text := fmt.Sprintf(format, v...)
	l.note(true, text)
	l.log.Error(text)
	for _, words := range writeFaults {
		if strings.Contains(text, words) {
			l.mu.Lock()
			fault := l.fault
			l.mu.Unlock()
			if fault != nil {
				fault(fmt.Errorf("server: %s", text))
			}
			return
		}
	}
}

func (l *serverLog) Fatalf(format string, v ...any) { l.Errorf(format, v...) }
