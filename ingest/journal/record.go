package journal

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// CheckRecord tells why a record cannot be in a log.
func CheckRecord(log string, data []byte) error {
	if err := checkToken("log", log); err != nil {
		return err
	}
	if len(data) > MaxRecord {
		return fmt.Errorf("%w: log %s: record of %d bytes, at most %d", ErrTooLarge, log, len(data), MaxRecord)
	}
	return nil
}

// AppendRecord adds a record, at most MaxRecord bytes, to a log that is never
// shortened, and returns its position once it is stored as promised. Positions
// rise from 1; those of one log are not dense, as logs share the count.
func (j *Journal) AppendRecord(ctx context.Context, log string, data []byte) (uint64, error) {
	if err := CheckRecord(log, data); err != nil {
		return 0, err
	}
	pos, err := j.storeRecord(ctx, &nats.Msg{Subject: recordPrefix + log, Data: data})
	if err != nil {
		return 0, fmt.Errorf("log %s: %w", log, err)
	}
	return uint64(pos), nil
}

// ReadRecords gives every record of a log after a position, in order, up to the
// newest at the time of the call, and returns. data is valid only in the call.
// An error of handle ends it and is returned.
func (j *Journal) ReadRecords(ctx context.Context, log string, after uint64, handle func(pos uint64, data []byte) error) error {
	if err := checkToken("log", log); err != nil {
		return err
	}
	newest, err := j.records.GetLastMsgForSubject(ctx, recordPrefix+log)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("log %s: %w", log, j.readError(err))
	}
	if newest.Sequence <= after {
		return nil
	}
	ctx, stop := j.within(ctx)
	defer stop()
	s := newScan(j, j.records, recordPrefix+log, Position(after+1))
	defer s.close()
	for {
		m, err := s.read(ctx)
		if err != nil {
			return fmt.Errorf("log %s: %w", log, err)
		}
		if err := handle(uint64(m.pos), m.msg.Data()); err != nil {
			return err
		}
		if uint64(m.pos) >= newest.Sequence {
			return nil
		}
	}
}

// LastRecord is the position of the newest record of all logs, 0 for none.
func (j *Journal) LastRecord(ctx context.Context) (uint64, error) {
	info, err := j.records.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("records: %w", j.readError(err))
	}
	return info.State.LastSeq, nil
}
