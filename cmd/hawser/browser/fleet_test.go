package browser_test

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	"hawser/detect/reading"
	"hawser/ingest/edge"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// fleet is a port of invented ships, each on sixteen lines, whose readings it
// sends in as gateways would.
type fleet struct {
	t     testing.TB
	conn  *grpc.ClientConn
	plans []*hawserv1.MooringPlan
	// load is the tension of a line, kN, at a time since the fleet's history began.
	load func(berth, line int, at time.Duration) float64
}

const fleetLines = 16

// newFleet makes ships at berths, for a server's gRPC address.
func newFleet(t testing.TB, grpcAddress string, berths int) *fleet {
	t.Helper()
	_, plan, err := planfile.Load(filepath.Join("..", "..", "..", "testdata", "plans", "carrier-20.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	ships := []string{"Kestrel Meridian", "Heron of Aldmouth", "Saltmarsh Linnet", "Ternholm", "Plover Reach", "Dunlin Bay", "Curlew Star", "Sandgrouse"}
	quays := []string{"north", "south", "east", "west", "island"}
	f := &fleet{t: t, load: calm}
	for i := range berths {
		p := proto.CloneOf(plan)
		p.Berth = fmt.Sprintf("%s-%d", quays[i%len(quays)], 1+i/len(quays))
		p.Ship.Name = fmt.Sprintf("%s %d", ships[i%len(ships)], 1+i)
		p.Lines = append(p.Lines[:fleetLines/2], p.Lines[len(p.Lines)-fleetLines/2:]...)
		f.plans = append(f.plans, p)
	}
	f.conn, err = grpc.NewClient(grpcAddress, append(edge.DialOptions(), grpc.WithTransportCredentials(insecure.NewCredentials()))...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.conn.Close() })
	return f
}

// calm is loads well under their limits: pretensions that differ, swell and a gust.
func calm(berth, line int, at time.Duration) float64 {
	s, b, l := at.Seconds(), float64(berth), float64(line)
	mean := 140 + 25*math.Sin(3*b+1.7*l) + 30*math.Sin(s/240+b)
	return mean + (10+8*math.Sin(b))*math.Sin(2*math.Pi*s/(9+0.3*b)+l) + 3*math.Sin(5.1*s+l)
}

// send sends the readings of every berth from a time on, every half second one a
// line, for so long of their time, at a pace as edge.Options has it, and returns
// when all of it is receipted or ctx ends.
func (f *fleet) send(ctx context.Context, source string, began time.Time, from, until time.Duration, pace float64) {
	f.t.Helper()
	var all sync.WaitGroup
	for i, plan := range f.plans {
		all.Go(func() {
			at, sequence := from, uint64(0)
			_, err := edge.Send(ctx, f.conn, func() (*reading.Block, error) {
				if at >= until {
					return nil, io.EOF
				}
				sequence++
				b := f.block(i, plan, began, at, sequence)
				at += 500 * time.Millisecond
				return b, nil
			}, edge.Options{Berth: plan.Berth, Source: source, Plan: plan, Pace: pace})
			if err != nil && ctx.Err() == nil {
				f.t.Errorf("send for %s: %v", plan.Berth, err)
			}
		})
	}
	all.Wait()
}

func (f *fleet) block(i int, plan *hawserv1.MooringPlan, began time.Time, at time.Duration, sequence uint64) *reading.Block {
	times := []int64{began.Add(at).UnixNano()}
	b := &reading.Block{Sequence: sequence}
	one := func(c reading.Channel, v float64) {
		b.Series = append(b.Series, reading.Series{Channel: c, Time: times, Value: []float64{v}, Decimals: -1})
	}
	for j, line := range plan.Lines {
		one(reading.Channel{Kind: reading.Tension, Line: line.Id}, math.Round(10*f.load(i, j, at))/10)
	}
	one(reading.Channel{Kind: reading.WindSpeed}, 9+3*math.Sin(at.Seconds()/60+float64(i)))
	one(reading.Channel{Kind: reading.WindDirection}, float64(200+3*i))
	one(reading.Channel{Kind: reading.UnderWatch}, 1)
	return b
}
