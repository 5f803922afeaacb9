package batch

import (
	"fmt"
	"time"

	"hawser/detect/reading"
)

// Entry is one batch as the journal holds it, for those who follow the journal.
// Data and Refused are valid only in the call that hands it over.
type Entry struct {
	Position uint64 // in the journal, from 1
	Berth    string
	Source   string
	Plan     string    // fingerprint of the plan it was taken in under
	Refused  []uint32  // columns the intake did not take
	Data     []byte    // a serialised hawser.v1.Batch
	Stored   time.Time // when the journal took it
}

// DecodeEntry unpacks the batch of an entry, without the columns that the intake
// refused. What it returns is valid until the next Decode.
func (d *Decoder) DecodeEntry(e *Entry) (*reading.Block, error) {
	block, _, err := d.Decode(e.Data)
	if err != nil {
		return nil, err
	}
	block.Drop(e.Refused)
	return block, nil
}

// RolledBackError says that the journal lost entries that it had handed over, and
// up to where it has not.
type RolledBackError struct{ Last uint64 }

func (e *RolledBackError) Error() string {
	return fmt.Sprintf("journal lost what came after position %d", e.Last)
}
