package journal

import (
	"context"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// answerTimeout is how long the server may take to answer a question. While a
// cluster has no leader for a stream nobody answers at all.
const answerTimeout = 10 * time.Second

// asked is a stream whose questions end. The client's own bound is for contexts
// without a deadline only, and a caller's may be months away: when his token
// expires.
type asked struct{ jetstream.Stream }

func (s asked) Info(ctx context.Context, opts ...jetstream.StreamInfoOpt) (*jetstream.StreamInfo, error) {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	return s.Stream.Info(ctx, opts...)
}

func (s asked) GetMsg(ctx context.Context, seq uint64, opts ...jetstream.GetMsgOpt) (*jetstream.RawStreamMsg, error) {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	return s.Stream.GetMsg(ctx, seq, opts...)
}

func (s asked) GetLastMsgForSubject(ctx context.Context, subject string) (*jetstream.RawStreamMsg, error) {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	return s.Stream.GetLastMsgForSubject(ctx, subject)
}

func (s asked) CreateConsumer(ctx context.Context, c jetstream.ConsumerConfig) (jetstream.Consumer, error) {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	return s.Stream.CreateConsumer(ctx, c)
}
