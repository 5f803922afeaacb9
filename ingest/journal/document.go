package journal

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// CheckDocument tells why a document cannot be kept.
func CheckDocument(bucket, key string, data []byte) error {
	if err := checkDocumentKey(bucket, key); err != nil {
		return err
	}
	if len(data) > MaxDocument {
		return fmt.Errorf("%w: document %s/%s of %d bytes, at most %d", ErrTooLarge, bucket, key, len(data), MaxDocument)
	}
	return nil
}

func checkDocumentKey(bucket, key string) error {
	if err := checkToken("bucket", bucket); err != nil {
		return err
	}
	return checkToken("key", key)
}

func documentSubject(bucket, key string) string { return documentPrefix + bucket + "." + key }

// Put keeps data, at most MaxDocument bytes, as the one value of a key and
// returns once it is stored as promised. Of concurrent calls for a key the last
// to reach the server stays.
func (j *Journal) Put(ctx context.Context, bucket, key string, data []byte) error {
	if err := CheckDocument(bucket, key, data); err != nil {
		return err
	}
	m := &nats.Msg{Subject: documentSubject(bucket, key), Data: data}
	if _, err := j.store(ctx, m, j.documentSync); err != nil {
		return fmt.Errorf("document %s/%s: %w", bucket, key, err)
	}
	return nil
}

// store publishes and waits.
func (j *Journal) store(ctx context.Context, m *nats.Msg, to *syncer) (Position, error) {
	if err := j.usable(); err != nil {
		return 0, err
	}
	w, err := j.pub.publish(ctx, m, to)
	if err != nil {
		return 0, err
	}
	return w.Wait(ctx)
}

// Get returns the value of a key; ok is false when there is none. On a
// replicated server outside it may be one that a Put elsewhere has just replaced.
func (j *Journal) Get(ctx context.Context, bucket, key string) (data []byte, ok bool, err error) {
	if err := checkDocumentKey(bucket, key); err != nil {
		return nil, false, err
	}
	m, err := j.documents.GetLastMsgForSubject(ctx, documentSubject(bucket, key))
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, fmt.Errorf("document %s/%s: %w", bucket, key, j.readError(err))
	}
	return m.Data, true, nil
}

// Keys lists a bucket's keys, sorted.
func (j *Journal) Keys(ctx context.Context, bucket string) ([]string, error) {
	if err := checkToken("bucket", bucket); err != nil {
		return nil, err
	}
	prefix := documentPrefix + bucket + "."
	keys, err := j.subjects(ctx, j.documents, prefix+"*")
	if err != nil {
		return nil, err
	}
	for i, s := range keys {
		keys[i] = strings.TrimPrefix(s, prefix)
	}
	return keys, nil
}
