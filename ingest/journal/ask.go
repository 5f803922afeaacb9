package journal

import (
	"context"
	"errors"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// answerTimeout is how long the server may take to answer a question. While a
// cluster has no leader for a stream nobody answers at all, or the answer is that
// there is none yet.
const answerTimeout = 10 * time.Second

// askAgain is how long is waited before a question is asked again.
const askAgain = 250 * time.Millisecond

var errLeaderless = errors.New("the servers have not agreed yet on who leads the stream")

// leaderless reports an answer that there is no leader yet: errLeaderless or the
// server's JSClusterNotAvailErr.
func leaderless(err error) bool {
	var refused *jetstream.APIError
	return errors.Is(err, errLeaderless) || errors.As(err, &refused) && refused.ErrorCode == 10008
}

// led refuses what a server says of a stream that nobody leads: it may be behind.
func led(info *jetstream.StreamInfo) error {
	if info.Cluster != nil && info.Cluster.Leader == "" {
		return errLeaderless
	}
	return nil
}

// answer asks until somebody leads who can answer.
func answer[T any](ctx context.Context, ask func(context.Context) (T, error)) (T, error) {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	for {
		a, err := ask(ctx)
		if !leaderless(err) {
			return a, err
		}
		select {
		case <-time.After(askAgain):
		case <-ctx.Done():
			return a, err
		}
	}
}

// asked is a stream whose questions end. The client's own bound is for contexts
// without a deadline only, and a caller's may be months away: when his token
// expires.
type asked struct{ jetstream.Stream }

func (s asked) Info(ctx context.Context, opts ...jetstream.StreamInfoOpt) (*jetstream.StreamInfo, error) {
	return answer(ctx, func(ctx context.Context) (*jetstream.StreamInfo, error) {
		info, err := s.Stream.Info(ctx, opts...)
		if err != nil {
			return nil, err
		}
		return info, led(info)
	})
}

func (s asked) GetMsg(ctx context.Context, seq uint64, opts ...jetstream.GetMsgOpt) (*jetstream.RawStreamMsg, error) {
	return answer(ctx, func(ctx context.Context) (*jetstream.RawStreamMsg, error) { return s.Stream.GetMsg(ctx, seq, opts...) })
}

func (s asked) GetLastMsgForSubject(ctx context.Context, subject string) (*jetstream.RawStreamMsg, error) {
	return answer(ctx, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
		return s.Stream.GetLastMsgForSubject(ctx, subject)
	})
}

func (s asked) CreateConsumer(ctx context.Context, c jetstream.ConsumerConfig) (jetstream.Consumer, error) {
	return answer(ctx, func(ctx context.Context) (jetstream.Consumer, error) { return s.Stream.CreateConsumer(ctx, c) })
}
