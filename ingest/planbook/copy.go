package planbook

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// document is one document of a copy, a line of JSON.
type document struct {
	Bucket string `json:"bucket"`
	Key    string `json:"key"`
	Data   []byte `json:"data"`
}

// copied are the buckets of a copy, in the order in which they are read: what names a
// plan before the plans, so that each plan named is there.
func copied() []string { return []string{currentBucket, staysBucket, versionBucket, plansBucket} }

// Copy writes all plans on record and which berths are under them.
func Copy(ctx context.Context, docs Documents, w io.Writer) error {
	out := json.NewEncoder(w)
	for _, bucket := range copied() {
		keys, err := docs.Keys(ctx, bucket)
		if err != nil {
			return fmt.Errorf("plans on record: %w", err)
		}
		for _, key := range keys {
			data, ok, err := docs.Get(ctx, bucket, key)
			if err != nil {
				return fmt.Errorf("plans on record: %w", err)
			}
			if !ok {
				continue
			}
			if err := out.Encode(document{bucket, key, data}); err != nil {
				return err
			}
		}
	}
	return nil
}

// Paste puts on record what Copy wrote, in place of what is there. No book is to be
// open meanwhile.
func Paste(ctx context.Context, docs Documents, r io.Reader) error {
	in := json.NewDecoder(bufio.NewReader(r))
	for n := 1; ; n++ {
		var d document
		err := in.Decode(&d)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = docs.Put(ctx, d.Bucket, d.Key, d.Data)
		}
		if err != nil {
			return fmt.Errorf("plans of a copy: document %d: %w", n, err)
		}
	}
}
