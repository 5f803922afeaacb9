package alarm

import "context"

// Tick is one second of KeepTime.
func (l *Log) Tick(ctx context.Context) error { return l.tick(ctx) }
