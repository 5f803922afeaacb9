package linebook

import (
	"context"
	"hawser/ingest/batch"
)

// Take folds one entry without following a journal.
func (b *Book) Take(ctx context.Context, e *batch.Entry) error { return b.take(ctx, e) }

// Keep writes what has changed.
func (b *Book) Keep(ctx context.Context) { b.keep(ctx) }
