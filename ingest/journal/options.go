package journal

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Options says where the journal is and how much it keeps.
type Options struct {
	// Dir is the folder of the journal inside the process, made when missing.
	// One process has it open at a time. Not used when URL is set.
	Dir string
	// URL of a NATS server with JetStream outside the process ("nats://host:4222",
	// or tls:// for none but TLS), or of several of a cluster, commas between. Its
	// max_payload should be 8 MiB; what is larger than it allows is refused with
	// ErrTooLarge.
	URL string
	// RootCAs is the file of the authorities (PEM) that the certificate of the server
	// at URL may be of; with it the connection is TLS. Empty leaves that to the server,
	// and trust to the system's authorities.
	RootCAs string
	// ClientCert and ClientKey are the files of a certificate and its key (PEM) for a
	// server that asks for one; with them the connection is TLS.
	ClientCert, ClientKey string
	// UserCredentials is the path of a NATS credentials file for URL, if it wants one.
	UserCredentials string
	// User and Password, or Token, are for a server at URL that asks for them.
	User, Password, Token string
	// Owner, where set, is who owns the journal at URL, the same for each opening; one
	// at a time does. Open waits until the one before is known to live no more, or
	// ends with a HeldError. OwnerName is what others are told. Empty owns nothing, and
	// keeps nobody out.
	Owner, OwnerName string
	// Replicas of each stream in the cluster at URL. 0 means 1.
	Replicas int
	// MaxBytes of telemetry kept, oldest dropped. 0 means 8 GiB.
	MaxBytes int64
	// MaxAge of telemetry kept. 0 means 7 days, less than 0 no limit.
	MaxAge time.Duration
	// KeepLimits leaves MaxBytes and MaxAge as they are in the journal, for who opens
	// one only to copy it: to open it with others would let its oldest go.
	KeepLimits bool
	// SyncEvery is the shortest time between two syncs, which is about how long
	// a receipt waits on a busy journal; an idle one syncs at once. 0 means
	// 20 ms. Less than 0 leaves syncing to the server: receipts then outlast a
	// killed process and not a power cut. Not used with URL.
	SyncEvery time.Duration
	// OnPressure is told when a reader comes near to losing entries it has not
	// read, or the disk near to full, once when it begins and once when it ends.
	// Called from one goroutine; it must not block for long. nil is fine.
	OnPressure func(Pressure)
	// OnLoss is told of entries a reader could not be given. It is called on the
	// reader's goroutine. nil is fine.
	OnLoss func(Loss)
	// Log takes what the owner should know; nil discards it.
	Log *slog.Logger
	// Registerer takes the metrics; nil leaves them unseen.
	Registerer prometheus.Registerer

	syncFile   func(*os.File) error // fsync; tests replace it
	checkEvery time.Duration        // how often readers and limits are looked at
	ackTimeout time.Duration        // how long an acknowledgement may take

	sayEvery, ownFor, takeAfter time.Duration // of the owner; 0 means what is said there
}

func (o *Options) validate() error {
	switch {
	case o.Dir == "" && o.URL == "":
		return errors.New("journal: neither a folder nor a server URL is given")
	case o.MaxBytes < 0:
		return fmt.Errorf("journal: max bytes %d: want more than 0", o.MaxBytes)
	case (o.ClientCert == "") != (o.ClientKey == ""):
		return errors.New("journal: client_cert and client_key go together")
	case o.Replicas < 0 || o.Replicas > 5:
		return fmt.Errorf("journal: replicas %d: want 1 to 5", o.Replicas)
	}
	return nil
}

func (o *Options) setDefaults() {
	if o.Replicas == 0 || o.URL == "" {
		o.Replicas = 1
	}
	o.MaxBytes = cmp.Or(o.MaxBytes, 8<<30)
	o.MaxAge = cmp.Or(o.MaxAge, 7*24*time.Hour)
	o.MaxAge = max(o.MaxAge, 0)
	o.SyncEvery = cmp.Or(o.SyncEvery, 20*time.Millisecond)
	o.Log = cmp.Or(o.Log, slog.New(slog.DiscardHandler))
	if o.syncFile == nil {
		o.syncFile = (*os.File).Sync
	}
	o.checkEvery = cmp.Or(o.checkEvery, 5*time.Second)
	if o.ackTimeout == 0 {
		o.ackTimeout = 30 * time.Second
		if o.URL != "" {
			o.ackTimeout = 5 * time.Second
		}
	}
}

// The largest payloads, bytes.
const (
	MaxEntry    = 1<<20 + 64<<10
	MaxRecord   = 1 << 20
	MaxDocument = 8 << 20

	maxPayload = 8 << 20 // of a message with its header; documents have none
)

// What callers branch on. Errors returned wrap these and the cause.
var (
	// ErrClosed: the journal was closed.
	ErrClosed = errors.New("journal: closed")
	// ErrStorage: the journal's own disk or server failed. Nothing more is
	// stored until it is opened anew.
	ErrStorage = errors.New("journal: storage")
	// ErrUnavailable: the server outside did not answer, or could not store. Worth
	// trying again.
	ErrUnavailable = errors.New("journal: server unavailable")
	// ErrTooLarge: the payload is over its limit or the server's.
	ErrTooLarge = errors.New("journal: too large")
	// ErrBroken: an earlier entry of the source was not stored, or another
	// writer stored one. Ask LastSequence and go on from there.
	ErrBroken = errors.New("journal: source must resume")
)
