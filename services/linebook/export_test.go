package linebook

import "context"

// Take folds one entry without following a journal.
func (b *Book) Take(ctx context.Context, e *Entry) error { return b.take(ctx, e) }
