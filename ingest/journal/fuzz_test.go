package journal_test

import (
	"reflect"
	"testing"

	"github.com/nats-io/nats.go"

	"hawser/ingest/journal"
)

// What parses says the same again when written and parsed anew.
func FuzzParseEntry(f *testing.F) {
	f.Add("hawser.telemetry.jetty-1.gw", "1 - -")
	f.Add("hawser.telemetry.jetty-1.gw", "18446744073709551615 0123456789abcdef 0,1,4294967295")
	f.Add("hawser.telemetry.jetty-1", "7 a b c")
	f.Fuzz(func(t *testing.T, subject, header string) {
		e, err := journal.ParseEntry(subject, nats.Header{"Hawser-Batch": {header}})
		if err != nil {
			return
		}
		again, err := journal.ParseEntry(e.Subject(), e.Header())
		if err != nil || !reflect.DeepEqual(e, again) {
			t.Errorf("%q %q: %+v, then %+v, %v", subject, header, e, again, err)
		}
	})
}
