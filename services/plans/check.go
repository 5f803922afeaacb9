package plans

import (
	"net/http"

	"hawser/detect/mooring"
	"hawser/detect/mooring/quality"
	"hawser/detect/tide"
	"hawser/ingest/planfile"
	hawserv1 "hawser/proto/hawser/v1"
	"hawser/services/parameter"
)

// findings is what there is to say about a text.
type findings struct {
	Fingerprint string                `json:"plan,omitempty"`
	Faults      []fault               `json:"faults"`
	Remarks     []remark              `json:"remarks"`
	Geometry    *Geometry             `json:"geometry"` // null where there are faults
	InForce     string                `json:"in_force,omitempty"`
	Changes     []planfile.Difference `json:"changes"` // against the plan in force
}

// fault is one thing that makes a text no plan, at its place.
type fault struct {
	Line int    `json:"line"` // from 1; 0 where it has no place
	Col  int    `json:"col"`  // from 1, in bytes
	Path string `json:"path"`
	Want string `json:"want"`
}

// remark is one thing that is poor in a plan.
type remark struct {
	Severity string   `json:"severity"`
	Lines    []string `json:"lines"`
	Text     string   `json:"text"`
	Rule     string   `json:"rule"`
	Says     string   `json:"says"`
	Source   string   `json:"source"`
}

// check looks through a text and changes nothing.
func (d *Desk) check(w http.ResponseWriter, r *http.Request) {
	f, _, ok := d.read(w, r)
	if ok {
		answer(w, http.StatusOK, f)
	}
}

// read reads the text of a request and says what there is to say about it; m is nil
// where it has faults. The answer is written where it could not be read at all.
func (d *Desk) read(w http.ResponseWriter, r *http.Request) (f *findings, m *hawserv1.MooringPlan, ok bool) {
	data, code, err := parameter.Text(w, r, planfile.MaxBytes, "a plan")
	if err != nil {
		http.Error(w, err.Error(), code)
		return nil, nil, false
	}
	f = &findings{Faults: []fault{}, Remarks: []remark{}, Changes: []planfile.Difference{}}
	plan, m, err := planfile.Parse("", data)
	if err != nil {
		f.fault(err)
		return f, nil, true
	}
	berth := r.URL.Query().Get("berth")
	if berth != "" && plan.Berth != berth {
		f.Faults = append(f.Faults, fault{Path: "berth", Want: "must be " + berth + ", the berth of this page, not " + plan.Berth})
		return f, nil, true
	}
	water, err := WaterOf(plan)
	if err != nil {
		f.Faults = append(f.Faults, fault{Path: "tide", Want: err.Error()})
		return f, nil, true
	}
	f.Fingerprint, f.Geometry = planfile.Fingerprint(m), Shape(plan)
	for _, x := range quality.Check(plan, water) {
		f.Remarks = append(f.Remarks, remark{x.Severity.String(), append([]string{}, x.Lines...), x.Text, x.Rule.Name, x.Rule.Says, x.Rule.Source})
	}
	if now, ok := d.o.Book.Current(plan.Berth); ok && d.sees(r, plan.Berth, now.Plan.Ship.Name) {
		was, err := d.o.Book.Message(r.Context(), plan.Berth, now.Fingerprint)
		if err != nil {
			d.failed(w, r, plan.Berth, err)
			return nil, nil, false
		}
		f.InForce = now.Fingerprint
		f.Changes = append(f.Changes, planfile.Differences(was, m)...)
	}
	return f, m, true
}

// fault notes what an error of planfile says.
func (f *findings) fault(err error) {
	for _, x := range planfile.Each(err) {
		f.Faults = append(f.Faults, fault{x.Line, x.Col, x.Path, x.Want})
	}
	if len(f.Faults) == 0 {
		f.Faults = []fault{{Want: err.Error()}}
	}
}

// WaterOf is how far the plan's tide goes, metres above chart datum, nil where the
// plan has none.
func WaterOf(p *mooring.Plan) (*quality.Water, error) {
	if p.Tide == nil {
		return nil, nil
	}
	curve, err := tide.New(p.Tide)
	if err != nil {
		return nil, err
	}
	low, high := curve.Extremes()
	return &quality.Water{LowM: low, HighM: high}, nil
}
