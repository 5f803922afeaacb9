package reckon

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"hawser/detect/assess"
	"hawser/detect/mooring"
	"hawser/detect/tide"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/live"
)

// Service is the AssessService over a Reckoner. Safe for concurrent use.
type Service struct {
	hawserv1.UnimplementedAssessServiceServer
	r      *Reckoner
	access live.Access
	now    func() time.Time
}

// NewService serves a reckoner, to everybody where access is nil.
func NewService(r *Reckoner, access live.Access) *Service {
	return &Service{r: r, access: access, now: time.Now}
}

// sees reports whether the caller may see a berth under its plan.
func (s *Service) sees(ctx context.Context, p *mooring.Plan) bool {
	return s.access == nil || s.access.SeesShip(ctx, p.Berth, p.Ship.Name)
}

// Register adds the service to a server.
func (s *Service) Register(r grpc.ServiceRegistrar) { hawserv1.RegisterAssessServiceServer(r, s) }

// ListLosses gives what the last round found.
func (s *Service) ListLosses(ctx context.Context, req *hawserv1.ListLossesRequest) (*hawserv1.ListLossesResponse, error) {
	if err := protovalidate.Validate(req); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	resp := &hawserv1.ListLossesResponse{Berths: s.r.listLosses(req.Berth, func(p *mooring.Plan) bool { return s.sees(ctx, p) })}
	return resp, nil
}

// Losses gives what the last round found of one berth, or of all for "".
func (r *Reckoner) Losses(berth string) []*hawserv1.BerthLosses {
	return r.listLosses(berth, func(*mooring.Plan) bool { return true })
}

func (r *Reckoner) listLosses(berth string, sees func(*mooring.Plan) bool) []*hawserv1.BerthLosses {
	r.mu.Lock()
	defer r.mu.Unlock()
	var all []*hawserv1.BerthLosses
	for _, name := range slices.Sorted(maps.Keys(r.berths)) {
		b := r.berths[name]
		if b.losses == nil || berth != "" && berth != name || !sees(b.mooring.Plan()) {
			continue
		}
		all = append(all, &hawserv1.BerthLosses{Berth: name, Time: timestamppb.New(b.at), Losses: losses(b.mooring, b.losses)})
	}
	return all
}

// Assess answers questions about one mooring, a few at a time: a caller that has to
// wait waits as long as its context lasts.
func (s *Service) Assess(ctx context.Context, req *hawserv1.AssessRequest) (*hawserv1.AssessResponse, error) {
	if err := protovalidate.Validate(req); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	a := asked{req: req}
	if err := a.settle(s.r.o.Board, s.r.o.Alarms, s.now()); err != nil {
		return nil, err
	}
	if req.GetBerth() != "" && !s.sees(ctx, a.plan) {
		return nil, status.Errorf(codes.PermissionDenied, "berth %s and her ship are not yours to see", req.GetBerth())
	}
	select {
	case s.r.asked <- struct{}{}:
		defer func() { <-s.r.asked }()
	case <-ctx.Done():
		return nil, status.FromContextError(ctx.Err()).Err()
	}
	began := time.Now()
	answer := a.answer()
	s.r.m.asked.Observe(time.Since(began).Seconds())
	return a.message(answer), nil
}

// asked is one request, settled step by step.
type asked struct {
	req         *hawserv1.AssessRequest
	question    assess.Question
	plan        *mooring.Plan
	loads       []float64        // NaN where not known
	over        int              // seconds that they are means over, 0 for a plan's
	slow        []float64        // the minute's means where loads are those of less, nil otherwise
	unhurried   *assess.Question // of slow: what is tended and foreseen is not of a gust
	conditions  assess.Conditions
	waters      assess.Waters
	means       *live.Means                       // of the berth, nil for a plan
	parted      []int                             // lines of the berth that have, but those whose load is given
	slipped     []int                             // lines of the berth that have
	alone       map[int]hawserv1.LeftAlone_Reason // lines of the berth that are not to be worked
	unexplained mooring.Force
	measured    int
}

// settle makes the question of the request.
func (a *asked) settle(board Board, alarms Alarms, now time.Time) error {
	if err := a.choose(board, alarms, now); err != nil {
		return err
	}
	if err := a.override(); err != nil {
		return err
	}
	a.waters.Put(&a.conditions, a.plan)
	for i, kN := range a.loads {
		if !math.IsNaN(kN) && !slices.Contains(a.parted, i) {
			a.measured++
		}
	}
	a.question = a.asMeasured(a.loads)
	a.unexplained = a.question.Conditions.Other
	if a.slow != nil {
		q := a.asMeasured(a.slow)
		a.unhurried = &q
	}
	a.question.Directions, a.question.Tend = int(a.req.WindDirections), a.req.Tending
	for k, id := range a.req.Without {
		i := a.plan.Line(id)
		if i < 0 {
			return status.Errorf(codes.InvalidArgument, "without[%d]: the plan has no line %q", k, id)
		}
		a.question.Without = append(a.question.Without, i)
	}
	return a.lookAhead(now)
}

// choose takes the berth as it is, or the plan.
func (a *asked) choose(board Board, alarms Alarms, now time.Time) error {
	switch m := a.req.Mooring.(type) {
	case *hawserv1.AssessRequest_Plan:
		plan, err := planfile.FromProto(m.Plan)
		if err != nil {
			return status.Errorf(codes.InvalidArgument, "plan: %v", err)
		}
		a.plan, a.waters = plan, reference(plan)
		a.loads = unknown(plan)
	case *hawserv1.AssessRequest_Berth:
		means, ok := board.Means(m.Berth)
		if !ok {
			return status.Errorf(codes.FailedPrecondition, "berth %s is not live here: no loads to reckon from; ask with its plan", m.Berth)
		}
		all, _ := alarms.List(m.Berth, true)
		heard := Hear(means.Plan, standing(all))
		means = trusted(means, heard.AtFault)
		a.parted, a.slipped, a.alone = heard.Parted, heard.Slipped, heard.alone(all, &means, now)
		a.plan, a.means = means.Plan, &means
		loads, over := heavier(&means, a.parted)
		a.loads, a.over = without(loads, a.parted), over
		if over != live.MeanSeconds {
			a.slow = without(means.TensionKN, a.parted)
		}
		a.conditions, a.waters = reported(&means, assess.Conditions{}, reference(means.Plan))
	}
	return nil
}

// asMeasured is the question of the mooring whose lines carry these loads, or the
// plan's pretensions where none is known, before what is asked of it.
func (a *asked) asMeasured(loads []float64) assess.Question {
	q := assess.Question{Mooring: assess.New(a.plan), Conditions: a.conditions, Measured: a.measured > 0}
	if q.Measured {
		when := a.whenMeasured()
		if a.untold() {
			when.Untold = assess.Untold(a.plan, loads, when)
			q.Conditions.Untold = when.Untold
		}
		q.Mooring, q.Conditions.Other = assess.Measured(a.plan, loads, when)
	}
	q.Mooring.Part(a.parted...)
	q.Mooring.Slipped(a.slipped...)
	q.Mooring.LeaveAlone(slices.Sorted(maps.Keys(a.alone))...)
	return q
}

// answer answers the question: lines and losses by the heavier loads, what to tend and
// the hours ahead by the minute's means.
func (a *asked) answer() *assess.Answer {
	if a.unhurried == nil {
		return a.question.Answer()
	}
	now := a.question
	now.Tend, now.Moments = false, nil
	x, slow := now.Answer(), a.unhurried
	if !x.Found {
		return x
	}
	if a.question.Tend {
		if advice, err := slow.Mooring.Tend(slow.Conditions); err == nil {
			x.Advice = &advice
		}
	}
	if a.question.Moments != nil {
		o := slow.Mooring.Ahead(slow.Conditions, a.question.Moments)
		x.Outlook = &o
	}
	return x
}

// whenMeasured are the conditions that the loads were measured in: what the berth
// reports, and what it does not as asked.
func (a *asked) whenMeasured() assess.Conditions {
	if a.means == nil {
		return a.conditions
	}
	c, w := reported(a.means, a.conditions, a.waters)
	w.Put(&c, a.plan)
	return c
}

// untold says that of a berth's wind nobody knows, and none is asked for.
func (a *asked) untold() bool {
	return a.means != nil && a.measured > 0 && !windTold(a.means) && a.req.Wind == nil
}

func unknown(p *mooring.Plan) []float64 {
	loads := make([]float64, len(p.Lines))
	for i := range loads {
		loads[i] = math.NaN()
	}
	return loads
}

// override puts what the request gives in the place of what is.
func (a *asked) override() error {
	r := a.req
	for k, l := range r.Loads {
		i := a.plan.Line(l.Line)
		if i < 0 {
			return status.Errorf(codes.InvalidArgument, "loads[%d]: the plan has no line %q", k, l.Line)
		}
		a.loads[i] = l.TensionKn
		if a.slow != nil {
			a.slow[i] = l.TensionKn
		}
		a.parted = slices.DeleteFunc(a.parted, func(parted int) bool { return parted == i })
		delete(a.alone, i)
	}
	if r.Wind != nil {
		a.conditions.WindMS, a.conditions.WindFromDeg = r.Wind.SpeedMps, r.Wind.FromDeg
	}
	if r.Current != nil {
		a.conditions.CurrentMS, a.conditions.CurrentSetDeg = r.Current.SpeedMps, r.Current.SetDeg
	}
	for _, o := range []struct {
		given *float64
		to    *float64
	}{{r.WaterLevelM, &a.waters.LevelM}, {r.DraftFwdM, &a.waters.DraftFwdM}, {r.DraftAftM, &a.waters.DraftAftM}, {r.DepthM, &a.waters.DepthM}} {
		if o.given != nil {
			*o.to = *o.given
		}
	}
	return nil
}

// stepAhead is the time between two moments ahead.
const stepAhead = 5 * time.Minute

// lookAhead lays out the hours ahead by the plan's tide and the cargo given.
func (a *asked) lookAhead(now time.Time) error {
	h := a.req.Ahead
	if h == nil {
		return nil
	}
	var c assess.Course
	if a.plan.Tide != nil {
		curve, err := tide.New(a.plan.Tide)
		if err != nil {
			return status.Errorf(codes.FailedPrecondition, "plan: %v", err)
		}
		c.Tide = curve
	}
	for k, d := range h.Cargo {
		at := d.Time.AsTime()
		if k > 0 && !at.After(c.Cargo[k-1].At) {
			return status.Errorf(codes.InvalidArgument, "ahead.cargo[%d].time: %s is not after the one before", k, at.Format(time.RFC3339))
		}
		c.Cargo = append(c.Cargo, assess.Drafts{At: at, FwdM: d.DraftFwdM, AftM: d.DraftAftM})
	}
	if h.From != nil {
		now = h.From.AsTime()
	}
	var err error
	a.question.Moments, _, err = c.Moments(a.plan, a.waters, now.UTC().Truncate(time.Second), time.Duration(h.Hours*float64(time.Hour)), stepAhead)
	if err != nil {
		return status.Error(codes.InvalidArgument, fmt.Sprintf("ahead: %v", err))
	}
	return nil
}
