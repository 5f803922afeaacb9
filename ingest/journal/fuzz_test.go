package journal_test

import (
	"encoding/json"
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

// The short way of reading an acknowledgement agrees with the standard decoder.
func FuzzParseAck(f *testing.F) {
	f.Add([]byte(`{"stream":"hawser-telemetry","seq":12345}`))
	f.Add([]byte(`{"stream":"hawser-telemetry","seq":12345,"duplicate":true}`))
	f.Add([]byte(`{"stream":"hawser-telemetry", "seq":12345, "domain":"x"}`))
	f.Add([]byte(`{"error":{"code":503,"err_code":10077,"description":"no"},"stream":"s","seq":0}`))
	f.Add([]byte(`{"stream":"","seq":1}`))
	f.Add([]byte(`{"stream":"a"b","seq":1}`))
	f.Add([]byte(`{"stream":"a","seq":0}`))
	f.Add([]byte(`{"stream":"a","seq":01}`))
	f.Add([]byte(`{"stream":"a,\"seq\":1}`))
	f.Add([]byte(`{"stream":"a","seq":99999999999999999999}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		pos, err := journal.ParseAck(&nats.Msg{Data: data})
		if err != nil {
			return
		}
		var ack struct {
			Stream string `json:"stream"`
			Seq    uint64 `json:"seq"`
		}
		if err := json.Unmarshal(data, &ack); err != nil || ack.Stream == "" || ack.Seq == 0 || ack.Seq != uint64(pos) {
			t.Errorf("%q: position %d; decoder says %+v, %v", data, pos, ack, err)
		}
	})
}
