package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"path/filepath"
	"time"

	"buf.build/go/protovalidate"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"golang.org/x/sync/errgroup"

	"hawser/ingest/folder"
	"hawser/ingest/intake"
	"hawser/ingest/journal"
	"hawser/ingest/planbook"
	"hawser/ingest/standby"
	"hawser/ingest/store"
	"hawser/ingest/store/influx"
	"hawser/ingest/store/tsdb"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/access"
	"hawser/services/alarm"
	"hawser/services/deliver"
	"hawser/services/front"
	"hawser/services/history"
	"hawser/services/linebook"
	"hawser/services/live"
	"hawser/services/performance"
	"hawser/services/plans"
	"hawser/services/reckon"
	"hawser/services/report"
	"hawser/services/rounds"
	"hawser/services/stay"
	"hawser/services/watch"
	"hawser/services/web"
)

// station is a whole server. Its parts are opened from the journal up and
// closed in the reverse order.
type station struct {
	cfg      config
	plans    []*hawserv1.MooringPlan // of the files in cfg
	log      *slog.Logger
	registry *prometheus.Registry

	journal     *standby.Journal
	book        *planbook.Book
	alarms      *alarm.Log
	performance *performance.Tracker
	board       *live.Board
	watch       *watch.Watch
	intake      *intake.Server
	store       refilled // nil where there is none
	pump        *store.Pump
	feed        *history.Feed
	planLines   *history.PlanLines // nil where the store has no use for them
	guard       *access.Guard      // nil where everybody may do everything
	front       *front.Front
	deliver     *deliver.Deliverer // nil where alarms go nowhere else
	rounds      *rounds.Rounds
	reckoner    *reckon.Reckoner
	stays       *stay.Keeper
	lines       *linebook.Book
	limits      limits // of the journal

	closers []closer
}

// closer is one step of the way back.
type closer struct {
	what  string
	close func() error
}

// openStation opens every part and binds the addresses. Where one part fails
// those before it are closed.
func openStation(ctx context.Context, cfg config, log *slog.Logger) (_ *station, err error) {
	s := &station{cfg: cfg, log: log, registry: prometheus.NewRegistry()}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	s.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	for _, open := range []func(context.Context) error{
		s.readPlans, s.openFolder, s.openJournal, s.openServices, s.openDeliveries, s.openStore, s.putPlans, s.prepare, s.openAccess, s.openFront,
	} {
		if err := open(ctx); err != nil {
			return nil, err
		}
	}
	return s, nil
}

func (s *station) onClose(what string, fn func() error) {
	s.closers = append(s.closers, closer{what, fn})
}

// Close closes what is open, last opened first. Safe to call twice.
func (s *station) Close() error {
	var errs []error
	for i := len(s.closers) - 1; i >= 0; i-- {
		if err := s.closers[i].close(); err != nil {
			errs = append(errs, fmt.Errorf("close %s: %w", s.closers[i].what, err))
		}
	}
	s.closers = nil
	return errors.Join(errs...)
}

// openFolder makes the data folder, or takes an older one to the present form, and
// keeps every other process out of it.
func (s *station) openFolder(context.Context) error {
	release, err := folder.Lock(s.cfg.Data)
	if err != nil {
		return err
	}
	s.onClose("data folder", release)
	found, err := folder.Open(s.cfg.Data)
	if err == nil && found != folder.Form {
		s.log.Info("data folder taken to the present form", "folder", s.cfg.Data, "from", found, "to", folder.Form)
	}
	return err
}

func (s *station) openJournal(ctx context.Context) (err error) {
	o, err := s.cfg.Journal.options(s.cfg.Data)
	if err != nil {
		return err
	}
	if s.cfg.Journal.URL != "" { // a folder of our own is locked
		if o.Owner, o.OwnerName, err = folder.Identity(s.cfg.Data); err != nil {
			return err
		}
	}
	o.OnPressure, o.OnLoss, o.Log, o.Registerer = s.limits.pressure, s.limits.loss, s.log, s.registry
	if s.journal, err = standby.Open(ctx, standby.Options{
		Journal: o, Hold: planbook.Buckets(), OnBack: s.kept, OnKept: func() { s.intake.Resume() },
	}); err != nil {
		return err
	}
	s.onClose("journal", s.journal.Close)
	return nil
}

func (s *station) openServices(ctx context.Context) (err error) {
	if s.alarms, err = alarm.Open(ctx, alarm.Options{
		Records: s.journal, Escalate: s.cfg.Escalate.byPriority(), Pins: s.pins,
		Unheard: rounds.BerthSilent, Clocks: []string{rounds.ClockAhead, rounds.ClockBack},
		Logger: s.log, Registerer: s.registry,
	}); err != nil {
		return err
	}
	s.onClose("alarm log", s.alarms.Close)
	if s.performance, err = performance.New(s.alarms, s.registry, nil); err != nil {
		return err
	}
	// What is told as silent is not counted as live.
	if s.board, err = live.New(live.Options{Stale: s.cfg.SilentAfter, Registerer: s.registry}); err != nil {
		return err
	}
	s.onClose("live picture", s.board.Close)
	if s.book, err = planbook.Open(ctx, s.journal, func(berth string) { s.watch.Add(berth) }); err != nil {
		return err
	}
	s.watch, err = watch.New(watch.Options{
		Journal: watchJournal{reader{Journal: s.journal}}, Plans: s.book, Alarms: s.alarms, Picture: s.board,
		Log: s.log, Registerer: s.registry,
	})
	if err != nil {
		return err
	}
	for _, berth := range s.book.Berths() {
		e, _ := s.book.Current(berth)
		s.board.SetPlan(berth, e.Plan)
		s.watch.Add(berth)
	}
	valid, err := protovalidate.New()
	if err != nil {
		return err
	}
	s.intake, err = intake.New(intake.Options{
		Journal: intakeJournal{s.journal}, Plans: s.book, Validator: valid,
		ClockTolerance: s.cfg.ClockTolerance, Log: s.log, Registerer: s.registry,
	})
	if err != nil {
		return err
	}
	s.reckoner, err = reckon.New(reckon.Options{
		Board: s.board, Berths: s.book.Berths, Alarms: s.alarms, Log: s.log, Registerer: s.registry,
	})
	if err != nil {
		return err
	}
	if err := s.openLines(); err != nil {
		return err
	}
	if s.stays, err = stay.New(stay.Options{Journal: staysJournal{reader{s.journal, staysKey}}, Plans: s.book, Log: s.log}); err != nil {
		return err
	}
	s.rounds, err = rounds.New(rounds.Options{Look: s.look, Alarms: s.alarms, Log: s.log, SilentAfter: s.cfg.SilentAfter})
	return err
}

// pins gives a berth's load pins by its plan in force: by line, the source that last
// sent its load.
func (s *station) pins(berth string) map[string]string {
	e, ok := s.book.Current(berth)
	if !ok {
		return nil
	}
	from, pins := s.watch.Senders(berth), map[string]string{}
	for i := range e.Plan.Lines {
		if l := &e.Plan.Lines[i]; l.Instrumented {
			pins[l.ID] = from[l.ID]
		}
	}
	return pins
}

// openLines makes the line records.
func (s *station) openLines() error {
	curves, err := s.cfg.Curves.byMaterial()
	if err != nil {
		return err
	}
	s.lines, err = linebook.New(linebook.Options{
		Journal: reader{s.journal, linesKey}, Documents: s.journal, Records: s.journal, Plans: s.book,
		Alarms: linesAlarms{s.alarms}, Curves: curves, Log: s.log, Registerer: s.registry,
	})
	return err
}

// openDeliveries makes ready what carries alarms out.
func (s *station) openDeliveries(context.Context) (err error) {
	if !s.cfg.Deliver.any() {
		return nil
	}
	o := deliver.Options{Log: s.alarms, Positions: deliveryPositions{s.journal}, Logger: s.log, Registerer: s.registry}
	if err := s.cfg.Deliver.destinations(&o); err != nil {
		return usageError{err}
	}
	if s.deliver, err = deliver.New(o); err != nil {
		return usageError{err}
	}
	return nil
}

// refilled is a store that knows whether the whole journal is to be given to it.
type refilled interface {
	store.Store
	Refill() *store.Refill
}

// openStore opens the store and what carries the journal to it.
func (s *station) openStore(context.Context) error {
	switch s.cfg.Store.Kind {
	case storeNone:
		return nil
	case storeInflux:
		token, err := s.cfg.Store.token()
		if err != nil {
			return err
		}
		db, err := influx.Open(influx.Options{
			URL: s.cfg.Store.URL, Org: s.cfg.Store.Org, Bucket: s.cfg.Store.Bucket, Token: token,
			RollBucket: s.cfg.Store.RollupBucket, Dir: filepath.Join(s.cfg.Data, "rollups"), Log: s.log,
		})
		if err != nil {
			return err
		}
		s.store = db
		s.planLines = &history.PlanLines{Current: berthLines(s.book), Store: db, Every: 5 * time.Second, Log: s.log}
	default:
		dir := filepath.Join(s.cfg.Data, "store")
		db, err := tsdb.Open(tsdb.Options{
			Dir: dir, Retention: s.cfg.Store.Retention, Rolls: s.cfg.Store.Rollups.retention(),
			Ahead: s.cfg.ClockTolerance + time.Hour, Log: s.log, Registerer: s.registry,
		})
		if err != nil {
			return err
		}
		s.store = db
	}
	s.pump = store.NewPump(s.store, store.PumpOptions{Log: s.log, Registerer: s.registry})
	s.feed = history.NewFeed(storeJournal{reader{s.journal, storeKey}}, s.pump, s.log, s.store.Refill().Wanted())
	s.onClose("store", s.closeStore)
	return nil
}

// closeStore closes the store and then says in the journal up to where it has
// everything.
func (s *station) closeStore() error {
	err := s.store.Close()
	if err != nil || s.feed == nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	return s.feed.Closed(ctx)
}

// prepare lets those who read the journal find their places in it, before there is
// a listener by which it could grow: after a power cut only its end as it is now
// tells what of theirs it has lost.
func (s *station) prepare(ctx context.Context) error {
	if err := s.watch.Prepare(ctx); err != nil {
		return err
	}
	if err := s.lines.Prepare(ctx); err != nil {
		return err
	}
	if err := s.stays.Prepare(ctx); err != nil {
		return err
	}
	if s.feed == nil {
		return nil
	}
	if err := s.feed.Prepare(ctx); err != nil {
		return err
	}
	s.store.Refill().Begun()
	return nil
}

// everyAccess is all that the services ask of access.
type everyAccess interface {
	web.Access
	plans.Access
	stay.Access
	linebook.Access
}

func (s *station) openFront(ctx context.Context) error {
	o := front.Options{
		GRPCAddr: s.cfg.GRPC, HTTPAddr: s.cfg.HTTP,
		OnStop: []func(){s.drain, s.alarms.EndWatches, func() { _ = s.board.Close() }},
		Grace:  2 * time.Second,
		Log:    s.log, Registerer: s.registry, Gatherer: s.registry,
	}
	var who everyAccess // nil, not a nil *access.Guard, where there is none
	if s.guard != nil {
		who = s.guard
	}
	records := linebook.NewService(s.lines, who)
	pages, err := web.New(web.Options{Alarms: s.alarms, Board: s.board, Losses: s.reckoner, Access: who, Performance: s.performance, Lines: records, Ships: s.stays.Ships, Log: s.log})
	if err != nil {
		return err
	}
	if s.guard != nil {
		o.Guard = doors{s.guard, pages}
	}
	desk, err := plans.New(plans.Options{Book: s.book, Access: who, InForce: s.board.SetPlan, Log: s.log})
	if err != nil {
		return err
	}
	answers := reckon.NewService(s.reckoner, who)
	o.Services = []front.Registrar{
		intakeService{s.intake}, alarm.NewService(s.alarms, who), live.NewService(s.board, who), answers, records,
	}
	o.Routes = map[string]http.Handler{
		"GET /api/backup": s.backupHandler(),
		"GET /api/lines":  linebook.Handler(s.lines, who, s.log),
		"GET /api/stays":  stay.Handler(s.stays.List, who, s.log),
	}
	for _, routes := range []map[string]http.Handler{pages.Routes(), reckon.Routes(answers, s.log), desk.Routes()} {
		maps.Copy(o.Routes, routes)
	}
	if s.store != nil {
		if err := s.addHistory(&o, who); err != nil {
			return err
		}
	}
	if s.front, err = front.New(ctx, o); err != nil {
		return err
	}
	s.onClose("listeners", s.front.Close)
	return nil
}

// addHistory adds what is asked of the store.
func (s *station) addHistory(o *front.Options, who everyAccess) error {
	o.Services = append(o.Services, history.NewService(s.store, who, s.log))
	o.Routes["GET /api/history"] = history.Handler(s.store, who, s.log)
	o.Routes["GET /api/spectrum"] = history.Spectrum(s.store, who, s.log)
	o.Routes["GET /api/export"] = history.ExportHandler(s.store, who, planText(s.book), s.log)
	desk, err := report.NewDesk(report.Options{Stays: s.stays, Plans: s.book, Alarms: s.alarms, Access: who, Log: s.log, Version: version(),
		Source: func(berth string) report.Source { return report.Stored{Store: s.store, Berth: berth} }})
	if err != nil {
		return err
	}
	o.Routes["GET /report"] = desk
	return s.openQueries(o.Routes, who)
}

// drain lets the streams go once what they brought is on disk and receipted.
func (s *station) drain() {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	if err := s.intake.Drain(ctx); err != nil {
		s.log.Warn("streams cut off at the stop; their sources will resume", "err", err)
	}
}

// Run serves until ctx ends or a part fails, then stops them all and closes the
// station.
//
// The front goes first, because nothing may come in that nobody would take on.
// The watch and the pump then end by themselves: what they have not done yet is
// in the journal. The alarm log stays open until the watch has kept its state.
func (s *station) Run(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return s.front.Run(ctx) })
	g.Go(func() error { return s.watch.Run(ctx) })
	g.Go(func() error { return s.rounds.Run(ctx) })
	g.Go(func() error { return s.alarms.KeepTime(ctx) })
	g.Go(func() error { return s.performance.Run(ctx) })
	g.Go(func() error { return s.reckoner.Run(ctx) })
	g.Go(func() error { return s.stays.Run(ctx) })
	g.Go(func() error { return s.lines.Run(ctx) })
	g.Go(func() error { return s.journal.Run(ctx) })
	if s.guard != nil {
		g.Go(func() error { return s.guard.Run(ctx) })
	}
	if s.deliver != nil {
		g.Go(func() error { return s.deliver.Run(ctx) })
	}
	if s.feed != nil {
		g.Go(func() error { return s.feed.Run(ctx) })
		g.Go(func() error { return s.pump.Run(ctx) })
	}
	if s.planLines != nil {
		g.Go(func() error { return s.planLines.Run(ctx) })
	}
	s.front.SetReady("")
	return errors.Join(g.Wait(), s.Close())
}

// kept brings the alarm log back to the journal that is on disk again: what was
// raised by positions after last stands, those positions come again with other
// readings.
func (s *station) kept(ctx context.Context, last journal.Position) error {
	s.limits.forget()
	for _, berth := range s.book.Berths() {
		if err := s.alarms.Rewind(ctx, berth, uint64(last)); err != nil {
			return err
		}
	}
	return nil
}
