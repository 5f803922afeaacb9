package journal_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"

	"hawser/ingest/journal"
)

func TestEntriesRefused(t *testing.T) {
	p, _ := inside(t)
	j := p.open()
	good := func() *journal.Entry { return entry("jetty-1", "gw", 1) }
	for _, row := range []struct {
		name  string
		spoil func(e *journal.Entry)
		want  string
		is    error
	}{
		{"no berth", func(e *journal.Entry) { e.Berth = "" }, `berth ""`, nil},
		{"dot in berth", func(e *journal.Entry) { e.Berth = "a.b" }, `berth "a.b"`, nil},
		{"wildcard", func(e *journal.Entry) { e.Source = "*" }, `source "*"`, nil},
		{"long source", func(e *journal.Entry) { e.Source = strings.Repeat("s", 65) }, `source "sss`, nil},
		{"line end in plan", func(e *journal.Entry) { e.Plan = "a\r\nb: c" }, `plan "a\r\n`, nil},
		{"no sequence", func(e *journal.Entry) { e.SourceSequence = 0 }, "sequence 0", nil},
		{"data", func(e *journal.Entry) { e.Data = make([]byte, journal.MaxEntry+1) }, "at most", journal.ErrTooLarge},
		{"refused columns", func(e *journal.Entry) { e.Refused = make([]uint32, 5000) }, "5000 refused columns", journal.ErrTooLarge},
	} {
		e := good()
		row.spoil(e)
		_, err := j.Append(t.Context(), e)
		if err == nil || !strings.Contains(err.Error(), row.want) || row.is != nil && !errors.Is(err, row.is) {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
	largest := good()
	largest.Data = make([]byte, journal.MaxEntry)
	appendOne(t, j, largest)
	if err := j.Put(t.Context(), "a/b", "k", nil); err == nil || !strings.Contains(err.Error(), `bucket "a/b"`) {
		t.Error(err)
	}
	if _, err := j.AppendRecord(t.Context(), "a.b", nil); err == nil || !strings.Contains(err.Error(), `log "a.b"`) {
		t.Error(err)
	}
	if _, err := j.AppendRecord(t.Context(), "alarms", make([]byte, journal.MaxRecord+1)); !errors.Is(err, journal.ErrTooLarge) {
		t.Error(err)
	}
	if err := j.Follow(t.Context(), journal.FollowOptions{Berth: ">"}, nil); err == nil || !strings.Contains(err.Error(), `berth ">"`) {
		t.Error(err)
	}
}

func TestOptionsRefused(t *testing.T) {
	for name, o := range map[string]journal.Options{
		"nowhere":  {},
		"size":     {Dir: t.TempDir(), MaxBytes: -1},
		"replicas": {Dir: t.TempDir(), Replicas: 7},
		"no one":   {URL: "nats://127.0.0.1:1"},
	} {
		if j, err := journal.Open(t.Context(), o); err == nil {
			j.Close()
			t.Errorf("%s: opened", name)
		}
	}
}

// The forms are those of JetStream's acknowledgements, its documentation's.
func TestAcknowledgements(t *testing.T) {
	for _, c := range []struct {
		data string
		pos  journal.Position // 0 for an error
		is   error
		says string
	}{
		{`{"stream":"hawser-telemetry","seq":12345}`, 12345, nil, ""},
		{`{"stream":"hawser-telemetry", "seq":7, "duplicate":true, "domain":"x"}`, 7, nil, ""},
		{``, 0, journal.ErrUnavailable, "status 503"},
		{`{"error":{"code":503,"err_code":10077,"description":"no room"},"stream":"s","seq":0}`, 0, journal.ErrUnavailable, "no room"},
		{`{"error":{"code":400,"err_code":10071,"description":"wrong last sequence: 4"},"stream":"s","seq":0}`, 0, nil, "another writer's entry is newer"},
		{`{"error":{"code":400,"err_code":10164,"description":"wrong last sequence"},"stream":"s","seq":0}`, 0, nil, "another writer's entry is newer"},
		{`{"error":{"code":400,"err_code":10054,"description":"too large"},"stream":"s","seq":0}`, 0, nil, "too large"},
		{`{"stream":"","seq":1}`, 0, nil, "without a sequence"},
		{`{"stream":"a","seq":0}`, 0, nil, "without a sequence"},
		{`{"stream":"a","seq":99999999999999999999}`, 0, nil, "acknowledgement: "},
		{`{"stream":"a","seq":1`, 0, nil, "acknowledgement: "},
	} {
		pos, err := journal.ParseAck(&nats.Msg{Data: []byte(c.data), Header: nats.Header{"Status": {"503"}}})
		if pos != c.pos || (err == nil) != (c.pos > 0) || c.is != nil && !errors.Is(err, c.is) || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %d, %v", c.data, pos, err)
		}
	}
}
