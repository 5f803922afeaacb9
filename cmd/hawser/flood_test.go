package main

import (
	"math/rand/v2"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
)

// A gateway that sends the same seconds again and again, as fast as it is let, is told by
// its name until it stops; the berth beside it is watched and recorded as ever.
func TestFloodingGateway(t *testing.T) {
	t.Parallel()
	r := newTape(t, "tanker-12", 9, nil)
	coaster, _, err := planfile.Load(planFile("coaster-8"))
	if err != nil {
		t.Fatal(err)
	}
	s := startServe(t, t.TempDir(), "--plan", planFile("coaster-8"), "--plan", planFile("tanker-12"))
	stream, err := hawserv1.NewIntakeServiceClient(s.dial()).Deliver(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Hello{
		Hello: &hawserv1.Hello{Berth: coaster.Berth, Source: "mad"}}}); err != nil {
		t.Fatal(err)
	}
	flooded := make(chan error, 1)
	go func() {
		from := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC).UnixNano() // as the other berth
		for sequence := uint64(1); ; sequence++ {
			data, err := batch.Append(nil, noise(sequence, from))
			if err == nil {
				err = stream.Send(&hawserv1.DeliverRequest{Frame: &hawserv1.DeliverRequest_Batch{Batch: data}})
			}
			if err != nil {
				flooded <- err
				return
			}
		}
	}()
	s.tells("gateway-floods", "active")
	list, err := hawserv1.NewAlarmServiceClient(s.dial()).ListAlarms(t.Context(), &hawserv1.ListAlarmsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range list.Alarms {
		if a.Condition == "gateway-floods" && (a.Source != "mad" || a.Berth == r.berth) {
			t.Errorf("told is gateway %q at %q", a.Source, a.Berth)
		}
	}
	r.send(t, s.grpc)
	s.stored(r.berth, r.sums)
	_ = s.conn.Close()
	<-flooded
	s.conn = nil
	s.tells("gateway-floods", "cleared")
}

// noise is a second of nonsense from one load pin.
func noise(sequence uint64, from int64) *reading.Block {
	lot := rand.New(rand.NewPCG(sequence, 1))
	p := reading.Series{Channel: reading.Channel{Line: "1", Kind: reading.Tension}, Decimals: 6}
	for i := range int64(1000) {
		p.Time = append(p.Time, from+i*int64(time.Millisecond))
		p.Value = append(p.Value, 100+lot.Float64())
	}
	return &reading.Block{Sequence: sequence, Series: []reading.Series{p}}
}
