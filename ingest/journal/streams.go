package journal

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// openStreams makes the streams or brings them to the options.
func (j *Journal) openStreams(ctx context.Context) (err error) {
	open := func(c jetstream.StreamConfig) (jetstream.Stream, error) {
		c.Storage, c.Replicas = jetstream.FileStorage, j.o.Replicas
		// We send no message ids; the least window there can be spares the server
		// looking through two minutes of messages for them when it starts.
		c.Duplicates = 100 * time.Millisecond
		s, err := j.openStream(ctx, c)
		if err != nil {
			return nil, fmt.Errorf("stream %s: %w", c.Name, err)
		}
		return asked{s}, nil
	}
	// No stream but the documents answers direct gets: those may come from a
	// replica that is behind.
	if j.telemetry, err = open(jetstream.StreamConfig{
		Name: telemetryStream, Subjects: []string{telemetryPrefix + "*.*"},
		MaxBytes: j.o.MaxBytes, MaxAge: j.o.MaxAge, DenyDelete: true,
	}); err != nil {
		return err
	}
	kept := j.telemetry.CachedInfo().Config
	j.o.MaxBytes, j.o.MaxAge = kept.MaxBytes, kept.MaxAge
	if j.documents, err = open(jetstream.StreamConfig{
		Name: documentStream, Subjects: []string{documentPrefix + "*.*"},
		MaxMsgsPerSubject: 1, AllowDirect: true,
	}); err != nil {
		return err
	}
	j.records, err = open(jetstream.StreamConfig{
		Name: recordStream, Subjects: []string{recordPrefix + "*"}, DenyDelete: true, DenyPurge: true,
	})
	return err
}

// noRoom is the server's JSStorageResourcesExceededErr.
const noRoom jetstream.ErrorCode = 10047

// openStream opens a stream. A cluster that has just lost a server answers once it
// has agreed on who leads: that is waited for.
func (j *Journal) openStream(ctx context.Context, c jetstream.StreamConfig) (jetstream.Stream, error) {
	for again := time.Now().Add(time.Minute); ; {
		s, err := j.tryStream(ctx, c)
		var refused *jetstream.APIError
		if errors.As(err, &refused) && refused.ErrorCode == noRoom {
			return nil, fmt.Errorf("the server has no room for %d bytes: lower max_bytes of the journal or raise the server's max_file_store: %w", c.MaxBytes, err)
		}
		none := errors.Is(err, context.DeadlineExceeded) || errors.Is(err, nats.ErrNoResponders) || leaderless(err)
		if j.embedded() || !none || ctx.Err() != nil || time.Now().After(again) {
			return s, err
		}
		j.log.Warn("the journal's server has no answer, asking again", "stream", c.Name, "err", err)
		select {
		case <-time.After(askAgain):
		case <-ctx.Done():
		}
	}
}

// tryStream makes a stream, or changes it where it is another than wanted. One that is
// as it should be is left alone: a full disk does not take its description again, and
// the journal has to open all the same.
func (j *Journal) tryStream(ctx context.Context, c jetstream.StreamConfig) (jetstream.Stream, error) {
	s, err := j.js.Stream(ctx, c.Name)
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		return j.js.CreateStream(ctx, c)
	case err != nil:
		return nil, err
	}
	if err := led(s.CachedInfo()); err != nil {
		return nil, err
	}
	have := s.CachedInfo().Config
	if j.o.KeepLimits {
		c.MaxBytes, c.MaxAge = have.MaxBytes, have.MaxAge
	}
	if sameStream(have, c) {
		return s, nil
	}
	return j.js.UpdateStream(ctx, c)
}

// sameStream compares what we set of a stream with what the server has.
func sameStream(have, want jetstream.StreamConfig) bool {
	return slices.Equal(have.Subjects, want.Subjects) &&
		have.MaxBytes == cmp.Or(want.MaxBytes, -1) && have.MaxAge == want.MaxAge &&
		have.MaxMsgsPerSubject == cmp.Or(want.MaxMsgsPerSubject, -1) &&
		have.Storage == want.Storage && have.Replicas == want.Replicas && have.Duplicates == want.Duplicates &&
		have.DenyDelete == want.DenyDelete && have.DenyPurge == want.DenyPurge && have.AllowDirect == want.AllowDirect
}
