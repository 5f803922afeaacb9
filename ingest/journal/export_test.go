package journal

import (
	"os"
	"time"
)

// ReplaceSync puts another fsync in place of the system's.
func (o *Options) ReplaceSync(f func(*os.File) error) { o.syncFile = f }

// CheckEvery sets how often limits are looked at.
func (o *Options) CheckEvery(d time.Duration) { o.checkEvery = d }

// AckTimeout sets how long an acknowledgement may take.
func (o *Options) AckTimeout(d time.Duration) { o.ackTimeout = d }

// Blocks is the folder of a stream's block files.
func (j *Journal) Blocks(stream string) string { return j.blocks(stream) }

// ServerURL is the address of the server, "" when it listens on none.
func (j *Journal) ServerURL() string { return j.ns.ClientURL() }

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
