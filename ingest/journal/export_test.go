package journal

import (
	"os"
	"time"

	"github.com/nats-io/nats.go"
)

var (
	ParseEntry = parseEntry
	ParseAck   = parseAck
)

// Header and Subject are an entry's form on the stream.
func (e *Entry) Header() nats.Header { return e.header() }
func (e *Entry) Subject() string     { return e.subject() }

// ReplaceSync puts another fsync in place of the system's.
func (o *Options) ReplaceSync(f func(*os.File) error) { o.syncFile = f }

// CheckEvery sets how often limits are looked at.
func (o *Options) CheckEvery(d time.Duration) { o.checkEvery = d }

// AckTimeout sets how long an acknowledgement may take.
func (o *Options) AckTimeout(d time.Duration) { o.ackTimeout = d }

// OwnerTimes sets how often an owner says its word, for how long it owns the journal
// by it, and after how long another follows.
func (o *Options) OwnerTimes(every, own, take time.Duration) {
	o.sayEvery, o.ownFor, o.takeAfter = every, own, take
}

// Blocks is the folder of a stream's block files.
func (j *Journal) Blocks(stream string) string { return j.blocks(stream) }

// DropConsumers deletes every consumer of the telemetry stream on the server.
func (j *Journal) DropConsumers() (int, error) {
	n := 0
	names := j.telemetry.ConsumerNames(j.ctx)
	for name := range names.Name() {
		if err := j.telemetry.DeleteConsumer(j.ctx, name); err != nil {
			return n, err
		}
		n++
	}
	return n, names.Err()
}

// StopServer ends the server under the journal.
func (j *Journal) StopServer() { j.ns.Shutdown() }
