package watch

import (
	"context"
	"errors"
	"math"
	"time"

	"hawser/detect"
	"hawser/detect/mooring"
	"hawser/ingest/batch"
	"hawser/ingest/planbook"
)

// showEvery is the least time between two times that the picture is told from which load a
// parting that no pin shows is told: it changes slowly, and is not reckoned for nothing.
const showEvery = 5 * time.Second

// berthWatch is one run over one berth's entries.
type berthWatch struct {
	*Watch
	berth    string
	resumed  bool
	unit     *Unit // nil until the first entry or a snapshot
	plan     string
	lost     string // plan of the entries passed over last
	position uint64 // taken
	decoder  batch.Decoder
	counted  detect.Oddities
	late     map[string]late // by source

	// end is the lowest end of the journal seen since the snapshot and the alarm
	// log were brought back to it, MaxUint64 for none. It outlives a run: by the
	// next try the journal may have grown past what it lost.
	end uint64
	// seen is up to where the runs before had come when the journal lost its end.
	seen uint64
	// settle is the position after which the alarm log is made to agree with the
	// unit, 0 once it has been: the journal's end at the start, when the unit has
	// seen all there was to learn from. Where the journal lost its end it is that
	// much again after where watch or alarm log had come, and WarmUp at most, for the
	// sources to send what they have no receipt for; what it raises is mostly active
	// already.
	settle uint64
	told   uint64 // up to where changes come for the second time

	kept  uint64 // position of the last snapshot
	saved time.Time
	shown time.Time // when the picture was last told, of least
	least []float64
}

func (b *berthWatch) run(ctx context.Context) error {
	if !b.resumed {
		if err := b.resume(ctx); err != nil {
			return err
		}
	}
	err := b.o.Journal.FollowBerth(ctx, b.berth, b.position, func(e *batch.Entry) error { return b.take(ctx, e) })
	if ctx.Err() != nil {
		// The last state is kept in the time after the stop that the owner grants.
		keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		b.save(keep)
	}
	return err
}

// resume finds where to begin. Without a snapshot that is some way before the
// newest change on record: the alarm log does not take again what it has, so
// that the entries up to there only bring back the state.
func (b *berthWatch) resume(ctx context.Context) error {
	b.saved = time.Now()
	last, err := b.o.Journal.Last(ctx)
	if err != nil {
		return err
	}
	b.end = min(b.end, last)
	reached := max(b.seen, b.o.Alarms.Reached(b.berth))
	b.settle = b.end + 2*min(reached-min(reached, b.end), b.o.WarmUp)
	if err := b.o.Alarms.Rewind(ctx, b.berth, b.end); err != nil {
		return err
	}
	b.told = b.o.Alarms.Applied(b.berth)
	if err := b.load(ctx); err != nil {
		return err
	}
	b.end, b.resumed = math.MaxUint64, true
	if b.unit != nil {
		b.heardBefore()
	} else {
		b.position = b.told - min(b.told, b.o.WarmUp)
		b.sent.restore(b.berth, nil)
	}
	return nil
}

// take puts one entry through.
func (b *berthWatch) take(ctx context.Context, e *batch.Entry) error {
	if e.Position <= b.position {
		return nil // delivered a second time
	}
	if err := b.prepare(ctx, e); errors.Is(err, planbook.ErrDamaged) {
		b.passOver(e, err)
		return nil
	} else if err != nil {
		return err
	}
	b.position = e.Position
	block, err := b.decoder.DecodeEntry(e)
	if err != nil {
		// The intake let it in, so it is the journal that spoilt it: it will not
		// get better by trying again.
		b.o.Log.Error("unreadable batch passed over", "berth", b.berth, "position", e.Position, "err", err)
		b.m.setAside.WithLabelValues(b.berth).Inc()
		return nil
	}
	b.sent.note(b.berth, e.Source, block)
	changes := b.unit.Take(e.Source, block)
	if len(changes) > 0 {
		if err := b.o.Alarms.Apply(ctx, b.berth, e.Position, changes); err != nil {
			// The unit is past these readings and the log is not: what is kept must
			// not be, so that they come again.
			b.unit = nil
			return err
		}
	}
	b.o.Picture.Update(b.berth, e.Stored, block)
	b.o.Picture.Lies(b.berth, b.unit.Operating())
	b.show()
	if block.Samples() > 0 {
		b.heard()
	}
	b.dated(e, block, b.unit.Oddities().Late-b.counted.Late)
	b.count(e, block, changes)
	if time.Since(b.saved) >= b.o.SnapshotEvery {
		b.save(ctx)
	}
	return nil
}

// show tells every few seconds from which load a parting that no pin shows is told.
func (b *berthWatch) show() {
	if now := time.Now(); now.Sub(b.shown) >= showEvery {
		b.least, b.shown = b.unit.LeastLosses(b.least[:0]), now
		b.o.Picture.Shows(b.berth, b.least)
	}
}

// passOver leaves an entry out that no plan is left to read by. It would not get
// better by waiting, and the berth must not go unwatched for it.
func (b *berthWatch) passOver(e *batch.Entry, err error) {
	if b.lost != e.Plan {
		b.o.Log.Error("batches passed over, their plan is lost", "berth", b.berth, "position", e.Position, "plan", e.Plan, "err", err)
		b.lost = e.Plan
	}
	b.position = e.Position
	b.m.noPlan.WithLabelValues(b.berth).Inc()
	b.passedOver(err)
}

// prepare sees to it that the unit works by the entry's plan and, once after a
// start, that the alarm log agrees with the unit. It mostly does; not where the
// journal lost its end and never got it again, nor where the state had to be
// learnt anew from too little.
func (b *berthWatch) prepare(ctx context.Context, e *batch.Entry) error {
	replaced := b.unit != nil && b.plan != e.Plan
	var plan *mooring.Plan
	var err error
	if b.unit == nil || replaced {
		if plan, err = b.o.Plans.PlanByFingerprint(ctx, b.berth, e.Plan); err != nil {
			return err
		}
	}
	settled := e.Position > b.settle
	switch {
	case replaced:
		err = b.o.Alarms.Reconcile(ctx, b.berth, e.Position-1, nil, b.unit.partedOf(plan), "The mooring plan was replaced.")
	case settled && b.settle > 0:
		err = b.o.Alarms.Reconcile(ctx, b.berth, e.Position-1, b.active(), parted, "Not found again after the watch started anew.")
	}
	if err != nil {
		return err
	}
	learn := plan != nil || settled && b.settle > 0
	if settled {
		b.settle = 0
	}
	if plan != nil {
		b.unit, b.plan, b.counted = NewUnit(plan), e.Plan, detect.Oddities{}
		b.o.Picture.SetPlan(b.berth, plan)
		b.sent.keep(b.berth, plan)
	}
	if learn {
		b.unit.Stand(b.o.Alarms.Standing(b.berth, e.Position-1))
	}
	b.unit.Release(func(c detect.Change) bool { return b.o.Alarms.WasReset(b.berth, c) })
	return nil
}

func (b *berthWatch) active() []detect.Change {
	if b.unit == nil {
		return nil
	}
	return b.unit.Active()
}
