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
// Rolls are points beside them, at the start of their span; of a single reading there
// is only the mean. They may go to a bucket of their own, which keeps them longer:
//
//	tension_kilonewtons_10s,berth=B,line=7 mean=203.1,min=199.8,max=208,std=1.94,count=100i 1767225600000000000
//
// Which spans wait to be rolled up is on a list in a folder of this process (see
// roll). A span is reckoned from what the server has of its readings; where that is
// less than was there when it was reckoned before, it is left as it is. What the server
// had before there was a list is read from its readings where it has no rolls.
//
// Times are in nanoseconds. Unlike the embedded store the server keeps the last of
// two different readings for one time, and does not tell.
package influx

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
	bolt "go.etcd.io/bbolt"

	"hawser/detect/reading"
	"hawser/ingest/store"
	"hawser/ingest/store/roll"
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
	// RollBucket is where rolls go; "" is Bucket.
	RollBucket string
	// Dir is the folder of the list of spans that wait to be rolled up, of one Store at
	// a time. It is needed.
	Dir string
	// Settle is how long nothing must have come into a span before it is rolled up; 0
	// is roll.Settle.
	Settle time.Duration
	Log    *slog.Logger

	// Tests set these.
	batchPoints int
	timeout     time.Duration
}

const (
	batchPoints = 5000             // in one request
	timeout     = 30 * time.Second // that it may take
)

func (o *Options) validate() error {
	u, err := url.Parse(o.URL)
	if err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" {
		return fmt.Errorf("influx: address %q is not http://host:port", o.URL)
	}
	if o.Bucket == "" {
		return errors.New("influx: no bucket given")
	}
	if o.Dir == "" {
		return errors.New("influx: no folder given")
	}
	o.RollBucket = cmp.Or(o.RollBucket, o.Bucket)
	o.Log = cmp.Or(o.Log, slog.New(slog.DiscardHandler))
	if o.Settle < 0 {
		return errors.New("influx: time to settle cannot be negative")
	}
	o.batchPoints = cmp.Or(o.batchPoints, batchPoints)
	o.timeout = cmp.Or(o.timeout, timeout)
	return nil
}

// Store is a connection to a server, which may be down.
type Store struct {
	opts      Options
	client    influxdb2.Client
	write     api.WriteAPIBlocking
	writeRoll api.WriteAPIBlocking

	// appending lets one append at a time use touched; a channel, since the wait for
	// it ends with the context.
	appending chan struct{}
	touched   map[roll.Place]bool // spans of the append under way

	list    *bolt.DB
	pending *roll.Pending
	roller  *roll.Roller
	// rollsSince is a time, Unix ns, from which on every reading has been rolled up or
	// waits for it.
	rollsSince int64
	refill     *store.Refill

	closing   sync.Once
	closed    chan struct{}
	stop      context.CancelFunc // of the roller
	rolled    chan struct{}      // it has ended
	closeFail error
}

var _ store.Store = (*Store)(nil)

// Open makes a Store. It does not talk to the server yet: one that is down at the
// start is like one that goes down later.
func Open(o Options) (*Store, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	client := influxdb2.NewClientWithOptions(o.URL, o.Token, influxdb2.DefaultOptions().
		SetPrecision(time.Nanosecond).
		SetUseGZip(true).
		SetMaxRetries(0).                                   // the caller tries again, in order
		SetHTTPRequestTimeout(uint(2*timeout/time.Second))) // time-outs are by context, before that
	ctx, stop := context.WithCancel(context.Background())
	s := &Store{
		opts: o, client: client,
		write:     client.WriteAPIBlocking(o.Org, o.Bucket),
		writeRoll: client.WriteAPIBlocking(o.Org, o.RollBucket),
		appending: make(chan struct{}, 1), touched: make(map[roll.Place]bool),
		closed: make(chan struct{}), stop: stop, rolled: make(chan struct{}),
	}
	if err := s.openList(); err != nil {
		stop()
		client.Close()
		return nil, err
	}
	s.roller = &roll.Roller{Pending: s.pending, Keeper: s, Settle: o.Settle, Log: o.Log}
	go func() {
		defer close(s.rolled)
		s.roller.Run(ctx)
	}()
	return s, nil
}

const listFile = "waiting.db"

// openList opens the list of spans that wait to be rolled up, or makes it. One that is
// damaged is set aside and made anew.
func (s *Store) openList() error {
	if err := os.MkdirAll(s.opts.Dir, 0o750); err != nil {
		return fmt.Errorf("influx: %w", err)
	}
	s.refill = store.NewRefill(s.opts.Dir, s.opts.Log)
	path := filepath.Join(s.opts.Dir, listFile)
	err := s.tryList(path)
	if errors.Is(err, roll.ErrFileDamaged) {
		s.opts.Log.Error("list of spans to be rolled up was damaged, made anew", "aside", path+".damaged", "err", err)
		if err := os.Rename(path, path+".damaged"); err != nil {
			return fmt.Errorf("influx: %w", err)
		}
		err = s.tryList(path)
	}
	if err != nil {
		return fmt.Errorf("influx: list of spans to be rolled up: %w", err)
	}
	s.refill.Opened()
	return nil
}

// tryList opens the list. A reading may be dated an hour ahead of the clock, so since is
// an hour after it was made.
func (s *Store) tryList(path string) (err error) {
	list, err := roll.OpenFile(path)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, list.Close())
		}
	}()
	bucket, key := []byte("about"), []byte("since")
	err = roll.Soundly(func() error {
		return list.Update(func(tx *bolt.Tx) error {
			b, err := tx.CreateBucketIfNotExists(bucket)
			if err != nil {
				return err
			}
			if v := b.Get(key); len(v) == 8 {
				s.rollsSince = int64(binary.BigEndian.Uint64(v))
				return nil
			}
			s.refill.Want()
			s.rollsSince = time.Now().Add(time.Hour).UnixNano()
			return b.Put(key, binary.BigEndian.AppendUint64(nil, uint64(s.rollsSince)))
		})
	})
	if err != nil {
		return err
	}
	s.list = list
	s.pending, err = roll.OpenPending(list)
	return err
}

// Refill says whether the journal is to be given to the server anew: nothing was known
// here of its rolls, and what the journal has is to be rolled up.
func (s *Store) Refill() *store.Refill { return s.refill }

// Append writes one block; see store.Store.
func (s *Store) Append(ctx context.Context, berth string, block *reading.Block) error {
	return s.AppendMany(ctx, []store.Entry{{Berth: berth, Block: block}})
}

// AppendMany writes blocks in requests of some thousand points. It waits for appends under way.
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
	clear(s.touched)
	for _, e := range entries {
		roll.Touched(s.touched, e.Berth, e.Block, 0, math.MaxInt64)
	}
	if err := s.pending.Begin(s.touched); err != nil {
		return fmt.Errorf("influx: %w", err)
	}
	defer func() { s.pending.End(s.touched, time.Now()) }()
	w := writer{store: s, to: s.write}
	return w.append(ctx, entries)
}

// RollUp reckons at once the rolls that wait for their readings to settle. Queries
// give the same with and without it.
func (s *Store) RollUp(ctx context.Context) error { return s.roller.All(ctx) }

// Close ends what is under way and lets go of the connections.
func (s *Store) Close() error {
	s.closing.Do(func() {
		close(s.closed)
		s.stop()
		<-s.rolled
		s.appending <- struct{}{} // none is under way any more
		<-s.appending
		s.client.Close()
		s.closeFail = s.list.Close()
	})
	return s.closeFail
}

func (s *Store) isClosed() bool {
	select {
	case <-s.closed:
		return true
	default:
		return false
	}
}
