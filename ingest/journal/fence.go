package journal

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// fence lets an owner's record into a log only right after the newest that it knows
// there, which the server sees to (Nats-Expected-Last-Subject-Sequence). A record that
// was under way while another owner followed and wrote to the log, in a network that
// held it or a process that stood still, is refused whenever it comes.
type fence struct {
	hold  chan struct{}   // a mutex that a context can leave, for what follows
	last  Position        // the newest of the log
	known context.Context // the connection it is known by, nil for none
}

// fences are those of the logs, which are few, by subject.
type fences struct {
	mu sync.Mutex
	m  map[string]*fence
}

func (f *fences) of(subject string) *fence {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.m[subject] == nil {
		if f.m == nil {
			f.m = map[string]*fence{}
		}
		f.m[subject] = &fence{hold: make(chan struct{}, 1)}
	}
	return f.m[subject]
}

// storeRecord stores a record, an owner's within its fence. After an error, whatever
// came of the record, the newest is looked up again.
func (j *Journal) storeRecord(ctx context.Context, m *nats.Msg) (Position, error) {
	if j.owner == nil {
		return j.store(ctx, m, j.recordSync)
	}
	f := j.fences.of(m.Subject)
	select {
	case f.hold <- struct{}{}:
	case <-ctx.Done():
		return 0, ctx.Err()
	}
	defer func() { <-f.hold }()
	epoch := j.epoch.now()
	if f.known != epoch { // a server that was away may have lost its end
		newest, err := j.records.GetLastMsgForSubject(ctx, m.Subject)
		switch {
		case errors.Is(err, jetstream.ErrMsgNotFound):
			f.last = 0
		case err != nil:
			return 0, j.readError(err)
		default:
			f.last = Position(newest.Sequence)
		}
	}
	m.Header = nats.Header{jetstream.ExpectedLastSubjSeqHeader: {fmt.Sprint(uint64(f.last))}}
	pos, err := j.store(ctx, m, j.recordSync)
	if f.last, f.known = pos, epoch; err != nil {
		f.known = nil
	}
	return pos, err
}
