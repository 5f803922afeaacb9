// Package influx keeps readings in an InfluxDB server, or in another that takes
// its v2 write API and Flux. It never creates or changes a database there, and
// holds nothing back: what it has not written it reports as not written.
// Invariant: a point is named by measurement, tags and time, so writing it again
// changes nothing.
//
// One measurement per quantity, with the unit in its name; the server's tools read
// it without us:
//
//	tension_kilonewtons,berth=B,line=7 value=203.4 1767225600000000000
//	tension_kilonewtons,berth=B,line=7 quality=1i 1767225600100000000      no number (reading.Bad)
//	wind_speed_metres_per_second,berth=B value=7.1 1767225600000000000
//
// and one for what the plans say of the lines, see measurementLine.
//
// Times are in nanoseconds. Unlike the embedded store the server keeps the last of
// two different readings for one time, and does not tell.
package influx

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"sync"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"

	"hawser/detect/reading"
	"hawser/ingest/store"
)

// Options are the settings of a Store. URL and Bucket are needed.
type Options struct {
	// URL is the server's, such as http://127.0.0.1:8086.
	URL string
	// Org is the organisation; a 1.x server has none.
	Org string
	// Bucket is the bucket, or database/policy of a 1.x server.
	Bucket string
	// Token is the access token, or user:password of a 1.x server, "" where the
	// server asks for none. It is never logged.
	Token string
	// BatchLines is how many lines go in one request; 0 is 5,000.
	BatchLines int
	// Timeout is how long a request may take; 0 is 30 s.
	Timeout time.Duration
}

func (o *Options) validate() error {
	u, err := url.Parse(o.URL)
	if err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" {
		return fmt.Errorf("influx: address %q is not http://host:port", o.URL)
	}
	if o.Bucket == "" {
		return errors.New("influx: no bucket given")
	}
	if o.BatchLines < 0 || o.Timeout < 0 {
		return errors.New("influx: lines and time-out cannot be negative")
	}
	if o.BatchLines == 0 {
		o.BatchLines = 5000
	}
	if o.Timeout == 0 {
		o.Timeout = 30 * time.Second
	}
	return nil
}

// Store is a connection to a server, which may be down.
type Store struct {
	opts      Options
	client    influxdb2.Client
	transport *compressing
	write     api.WriteAPIBlocking
	query     api.QueryAPI

	// appending lets one append at a time use batch; a channel, since the wait for
	// it ends with the context.
	appending chan struct{}
	batch     batch

	closing sync.Once
	closed  chan struct{}
}

var _ store.Store = (*Store)(nil)

// Open makes a Store. It does not talk to the server yet: one that is down at the
// start is like one that goes down later.
func Open(o Options) (*Store, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	transport := newCompressing()
	client := influxdb2.NewClientWithOptions(o.URL, o.Token, influxdb2.DefaultOptions().
		SetPrecision(time.Nanosecond).
		SetMaxRetries(0).                                  // the caller tries again, in order
		SetHTTPClient(&http.Client{Transport: transport})) // time-outs are by context
	return &Store{
		opts: o, client: client, transport: transport,
		write:     client.WriteAPIBlocking(o.Org, o.Bucket),
		query:     client.QueryAPI(o.Org),
		appending: make(chan struct{}, 1),
		closed:    make(chan struct{}),
	}, nil
}

// Append writes one block; see store.Store.
func (s *Store) Append(ctx context.Context, berth string, block *reading.Block) error {
	return s.AppendMany(ctx, []store.Entry{{Berth: berth, Block: block}})
}

// AppendMany writes blocks in batches of lines. It waits for appends under way.
// After a nil or a *store.Refused error the server has acknowledged all.
func (s *Store) AppendMany(ctx context.Context, entries []store.Entry) error {
	select {
	case s.appending <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.appending }()
	if s.isClosed() {
		return store.ErrClosed
	}
	w := writer{store: s, batch: &s.batch}
	return w.append(ctx, entries)
}

// Close lets go of the connections.
func (s *Store) Close() error {
	s.closing.Do(func() {
		close(s.closed)
		s.client.Close()
		s.transport.next.CloseIdleConnections()
	})
	return nil
}

func (s *Store) isClosed() bool {
	select {
	case <-s.closed:
		return true
	default:
		return false
	}
}
